"""The household: drawers, things and pieces that outlive jobs."""
