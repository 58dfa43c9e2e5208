"""Checks of every part and of every assembled drawer."""
