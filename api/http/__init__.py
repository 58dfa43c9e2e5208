"""HTTP itself: bodies, ranges, preferences, headers, problem documents."""
