"""Schema migrations of the database (Alembic)."""
