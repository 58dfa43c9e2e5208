"""Placement: which trays the things of a drawer get, and where they stand."""
