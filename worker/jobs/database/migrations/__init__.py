"""Changes of the record's tables from one version to the next, in the form of Alembic."""
