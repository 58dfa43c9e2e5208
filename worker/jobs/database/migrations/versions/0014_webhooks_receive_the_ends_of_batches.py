"""Webhooks receive the ends of batches: a message belongs to a job or a batch, and a batch names webhooks."""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0012"


def upgrade() -> None:
    """Make the change."""
    op.create_table(
        "batch_webhooks",
        sa.Column("batch_id", sa.Text(), nullable=False),
        sa.Column("webhook_id", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["webhook_id"], ["webhooks.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("batch_id", "webhook_id"),
    )
    op.create_index("batches_by_end", "batches", ["finished"])
    op.add_column("webhook_deliveries", sa.Column("batch_id", sa.Text(), nullable=True))
    # SQLite copies this table and drops the old one, to which no other table refers
    with op.batch_alter_table("outbox", schema=None) as batch_op:
        batch_op.alter_column("job_id", existing_type=sa.Text(), nullable=True)
        batch_op.add_column(sa.Column("batch_id", sa.Text(), nullable=True))
        batch_op.create_foreign_key("outbox_batch_id_fkey", "batches", ["batch_id"], ["id"], ondelete="CASCADE")
        batch_op.create_index("outbox_by_batch", ["batch_id"], unique=False)
