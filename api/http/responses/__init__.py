"""Responses: stored files, byte ranges, pages of lists and event streams."""
