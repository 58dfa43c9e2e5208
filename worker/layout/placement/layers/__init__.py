"""Trays on others and on panels: what carries them, and when they tip."""
