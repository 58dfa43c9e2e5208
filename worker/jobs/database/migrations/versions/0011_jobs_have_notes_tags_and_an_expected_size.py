"""Jobs have notes and tags, and a size that is expected of their results."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"


def upgrade() -> None:
    """Make the change."""
    with op.batch_alter_table("jobs", schema=None) as batch_op:
        batch_op.add_column(sa.Column("notes", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("tags", sa.Text(), server_default="", nullable=False))
        batch_op.add_column(sa.Column("expected_bytes", sa.BigInteger(), server_default="0", nullable=False))
