"""The JSON documents that describe jobs and their printing."""
