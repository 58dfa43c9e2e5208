"""Commands that call a running service."""
