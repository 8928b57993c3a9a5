"""Files for other programs, one format a module."""
