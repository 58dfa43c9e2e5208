"""Pictures of print runs."""
