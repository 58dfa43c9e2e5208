"""Silhouettes have tags, and are listed by their last change."""

import sqlalchemy as sa
from alembic import op

revision = "0025"
down_revision = "0024"


def upgrade() -> None:
    """Make the change."""
    op.add_column("silhouettes", sa.Column("tags", sa.Text(), server_default="", nullable=False))
    op.create_index("silhouettes_by_change", "silhouettes", ["updated", "id"])
