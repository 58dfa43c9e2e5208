"""Periodic work that one leader does for all processes, and backups."""
