"""The floor: tiles, seams, borders and the print bed."""
