"""Jobs wait out outages of the database, the object store or the disk."""

import sqlalchemy as sa
from alembic import op

from worker.jobs.database.tables import UtcDateTime

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Make the change."""
    with op.batch_alter_table("jobs", schema=None) as batch_op:
        batch_op.add_column(sa.Column("outages", sa.Integer(), server_default="0", nullable=False))
        batch_op.add_column(sa.Column("retry_at", UtcDateTime(timezone=True), nullable=True))
