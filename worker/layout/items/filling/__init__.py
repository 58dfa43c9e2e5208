"""Filling a drawer: items into trays, each tray in its place."""
