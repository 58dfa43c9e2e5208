"""Ways to store an item in a tray, each with the tray sizes it needs."""
