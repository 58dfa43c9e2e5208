"""Silhouettes: a thing's outline from above, from a photo, a drawing or a model.

Nothing is imported here: the service knows the errors of this room without loading its libraries.
"""
