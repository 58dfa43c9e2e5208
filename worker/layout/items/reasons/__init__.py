"""Reasons why items have no place, and remedies."""
