"""The pictures: each from the result to a figure."""
