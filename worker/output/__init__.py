"""What leaves the worker, as bytes: files, their checks, the manifest and the bundle."""
