"""The plan document and the manifest."""
