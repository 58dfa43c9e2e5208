"""Pockets of trays: their outlines, where they are nested, their wells and text."""
