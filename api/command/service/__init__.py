"""The command line as a client of a service."""
