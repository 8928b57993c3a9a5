"""The distance and triangulation core: arrays in, arrays out."""
