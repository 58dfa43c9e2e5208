"""Output files as bytes: meshes, drawings and pictures, with their checks, the manifest and the bundle."""
