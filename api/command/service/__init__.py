"""HTTP client of the service, as the command line uses it."""
