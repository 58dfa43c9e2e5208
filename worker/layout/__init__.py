"""Layout: from a spec to a plan of tiles, trays and their positions, in numbers only."""
