"""Lengths, names, moments and polygons, and the base of every model."""
