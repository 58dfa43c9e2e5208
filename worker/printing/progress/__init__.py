"""Progress: printed pieces and remaining work."""
