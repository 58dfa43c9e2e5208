"""The drawer, its grid and joint, and the trays that a caller gives."""
