"""The column of a print state is named for what it holds: the progress of a job's printing."""

from alembic import op

revision = "0015"
down_revision = "0014"


def upgrade() -> None:
    """Make the change."""
    op.alter_column("print_states", "standing", new_column_name="progress")
