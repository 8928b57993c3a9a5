"""Recordings and microphones in, blocks of mono 16 kHz samples out."""
