"""The review desk: rows to look at, corrections, and the sound beside them."""
