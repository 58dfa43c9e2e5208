"""From a tray as asked for to the shape of a part."""
