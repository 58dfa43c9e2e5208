"""Stored files and the cache of built parts."""
