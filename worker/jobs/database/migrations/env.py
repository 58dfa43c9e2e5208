"""Runs the migrations on the connection of `worker.jobs.database.migrate`. Only Alembic imports this module."""

from alembic import context

from worker.jobs.database.tables import Base

# SQLite cannot change most of a table: in batch mode it is copied
context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,
    user_module_prefix="",
)
context.run_migrations()
