"""Mesh files: STL, 3MF and GLB, written and read back."""
