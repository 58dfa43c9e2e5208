"""Middleware for every request: CORS, time limits, the request log and safe headers."""
