"""Runs the changes over the connection that `worker.jobs.database.migrate` hands over. Only Alembic loads this."""

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
