"""The things to keep: their shapes, and the catalogue of standard sizes."""
