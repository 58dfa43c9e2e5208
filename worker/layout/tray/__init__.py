"""The tray: from its spec to the shape of a part."""
