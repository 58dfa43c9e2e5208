"""The SQL of jobs and everything kept beside them, one noun a module."""
