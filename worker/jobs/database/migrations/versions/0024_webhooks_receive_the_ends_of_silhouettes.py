"""Webhooks receive the ends of silhouettes: a message belongs to a job, a batch or a silhouette."""

import sqlalchemy as sa
from alembic import op

revision = "0024"
down_revision = "0023"


def upgrade() -> None:
    """Make the change."""
    op.add_column("webhook_deliveries", sa.Column("silhouette_id", sa.Text(), nullable=True))
    with op.batch_alter_table("outbox", schema=None) as batch_op:
        batch_op.add_column(sa.Column("silhouette_id", sa.Text(), nullable=True))
        batch_op.create_foreign_key(
            "outbox_silhouette_id_fkey", "silhouettes", ["silhouette_id"], ["id"], ondelete="CASCADE"
        )
        batch_op.create_index("outbox_by_silhouette", ["silhouette_id"], unique=False)
