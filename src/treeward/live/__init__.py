"""Dictation while watching."""
