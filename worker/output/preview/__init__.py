"""Preview pictures of print runs as PNG."""
