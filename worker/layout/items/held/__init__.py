"""Trays of the list that hold things: what fits, and what does not."""
