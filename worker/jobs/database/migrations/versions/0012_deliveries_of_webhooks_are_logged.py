"""Attempts at deliveries of webhooks are logged, with the message for another delivery."""

import sqlalchemy as sa
from alembic import op

from worker.jobs.database.tables import UtcDateTime

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    """Make the change."""
    op.create_table(
        "webhook_deliveries",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("webhook_id", sa.Text(), nullable=False),
        sa.Column("message_id", sa.Text(), nullable=False),
        sa.Column("type", sa.Text(), nullable=False),
        sa.Column("job_id", sa.Text(), nullable=True),
        sa.Column("payload", sa.Text(), nullable=False),
        sa.Column("attempt", sa.Integer(), nullable=False),
        sa.Column("at", UtcDateTime(timezone=True), nullable=False),
        sa.Column("milliseconds", sa.Integer(), nullable=False),
        sa.Column("status", sa.Integer(), nullable=True),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["webhook_id"], ["webhooks.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("webhook_deliveries", schema=None) as batch_op:
        batch_op.create_index("webhook_deliveries_by_endpoint", ["webhook_id", "id"], unique=False)
