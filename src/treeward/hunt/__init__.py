"""The hunt folder, and all that is done with it as a whole."""
