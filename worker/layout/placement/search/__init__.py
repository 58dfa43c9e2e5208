"""The search for the best trays of a drawer, and the finish of their layout."""
