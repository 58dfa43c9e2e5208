"""A layout that keeps what an earlier job printed."""
