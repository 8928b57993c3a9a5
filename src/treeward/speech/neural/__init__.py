"""The embedded engine: a neural recogniser, weighed against all that can be said."""
