"""Requests: bodies, preferences and preconditions."""
