"""Requests: bodies, preferences, conditions and what they name."""
