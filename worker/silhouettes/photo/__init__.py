"""Silhouettes from photos of a thing on the reference sheet.

Nothing is imported here: the sheet is drawn in a process without the image libraries.
"""
