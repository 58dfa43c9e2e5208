"""Outlines from models: STL, 3MF and OBJ meshes, the poses that they rest in, and what they need to be lifted out."""
