"""Lanes: parts of a drawer without trays, for large, long or soft things, and the panels that bound them."""
