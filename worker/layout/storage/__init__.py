"""The ways to keep one kind of thing in a tray."""
