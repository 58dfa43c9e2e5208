"""Trays for items: sizes, shared trays, and their distribution over drawers."""
