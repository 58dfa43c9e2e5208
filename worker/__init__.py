"""From a spec to printable parts: the rooms of the pipeline, each behind a package of its own."""
