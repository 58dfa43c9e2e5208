"""The floor: tiles, seams with their tabs, borders, what is left out, and the print bed."""
