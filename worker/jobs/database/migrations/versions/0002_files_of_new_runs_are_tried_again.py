"""Files of new runs that could not be written are tried again after a pause."""

from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

from worker.jobs.database.tables import UtcDateTime

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the change."""
    with op.batch_alter_table("print_states", schema=None) as batch_op:
        batch_op.add_column(sa.Column("rounds", sa.Integer(), server_default="0", nullable=False))
        batch_op.add_column(sa.Column("retry", UtcDateTime(timezone=True), nullable=True))
    states = sa.table("print_states", sa.column("problem"), sa.column("retry", UtcDateTime(timezone=True)))
    given_up = states.update().where(states.c.problem.is_not(None))
    op.execute(given_up.values(retry=datetime(2000, 1, 1, tzinfo=UTC)))  # at once
