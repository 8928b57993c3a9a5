"""What can be said: the phrase book, and numbers, bearings and times in words."""
