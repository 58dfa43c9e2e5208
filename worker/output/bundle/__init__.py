"""The bundle: the manifest, the archive and the text files in it."""
