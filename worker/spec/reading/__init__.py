"""From a JSON document to a model, or to every problem in it."""
