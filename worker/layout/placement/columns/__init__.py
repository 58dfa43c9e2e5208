"""Trays that the things of a drawer could have: what they cost, and what they are worth."""
