"""Bytes of batches are counted, and their files are found by key."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make the change."""
    with op.batch_alter_table("batches", schema=None) as batch_op:
        batch_op.add_column(sa.Column("bytes", sa.BigInteger(), server_default="0", nullable=False))
        batch_op.create_index("batches_by_owner", ["owner", "id"], unique=False)
    with op.batch_alter_table("batch_files", schema=None) as batch_op:
        batch_op.create_index("batch_files_by_key", ["key"], unique=False)
    batches = sa.table("batches", sa.column("id"), sa.column("bytes"))
    files = sa.table("batch_files", sa.column("batch_id"), sa.column("bytes"))
    there = sa.select(sa.func.coalesce(sa.func.sum(files.c.bytes), 0)).where(files.c.batch_id == batches.c.id)
    op.execute(batches.update().values(bytes=there.scalar_subquery()))
