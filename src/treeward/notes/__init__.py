"""Words in, events out; and the review file in which they are corrected."""
