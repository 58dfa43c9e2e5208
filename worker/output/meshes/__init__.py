"""Writers and readers of mesh files: STL, 3MF and GLB."""
