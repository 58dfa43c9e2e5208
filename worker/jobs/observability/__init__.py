"""Logging and tracing."""
