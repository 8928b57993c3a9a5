"""Blocks of sound in, words with times and confidence out."""
