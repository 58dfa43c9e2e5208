"""Packing: pieces onto the beds of print runs."""
