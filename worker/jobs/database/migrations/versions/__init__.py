"""One module for each change, named by its number."""
