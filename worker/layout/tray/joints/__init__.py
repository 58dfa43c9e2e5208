"""Jointed trays: trays larger than the bed, cut into pieces that join into one stiff tray."""
