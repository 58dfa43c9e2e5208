"""Authentication and rate limits."""
