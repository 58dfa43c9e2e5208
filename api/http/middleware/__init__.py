"""What every request passes: CORS, time limits, the request log and safe headers."""
