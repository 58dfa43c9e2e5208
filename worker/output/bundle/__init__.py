"""The manifest, the bundle and the text files in it."""
