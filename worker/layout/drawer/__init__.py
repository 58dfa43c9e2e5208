"""From tape readings to an outline and a grid in it."""
