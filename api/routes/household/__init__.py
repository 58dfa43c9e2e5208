"""Routes about the household: drawers, things and pieces that outlive jobs."""
