"""Data access: the SQL of jobs, batches, print events, keys and webhooks, one noun per module."""
