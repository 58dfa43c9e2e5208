"""The checks on every part and on the assembled drawer."""
