"""The floor: tiles, seams and borders."""
