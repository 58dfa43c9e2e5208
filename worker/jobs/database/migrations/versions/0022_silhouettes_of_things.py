"""Things have silhouettes: outlines from photos, drawings and models."""

import sqlalchemy as sa
from alembic import op

from worker.jobs.database.tables import UtcDateTime

revision = "0022"
down_revision = "0021"


def upgrade() -> None:
    """Make the change."""
    op.create_table(
        "silhouettes",
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("id", "owner", "name", "kind", "state", "request")),
        sa.Column("result", sa.Text(), nullable=True),
        sa.Column("corrected", sa.Boolean(), nullable=False),
        sa.Column("problem", sa.JSON(none_as_null=True), nullable=True),
        *(sa.Column(name, UtcDateTime(timezone=True), nullable=False) for name in ("created", "updated")),
        *(sa.Column(name, UtcDateTime(timezone=True), nullable=True) for name in ("finished", "enqueued")),
        sa.Column("claim", sa.Text(), nullable=True),
        sa.Column("lease", UtcDateTime(timezone=True), nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("bytes", sa.BigInteger(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("silhouettes_by_owner", "silhouettes", ["owner", "id"])
    op.create_index("silhouettes_by_state", "silhouettes", ["state", "id"])
    op.create_table(
        "silhouette_files",
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("silhouette_id", "name", "media_type")),
        sa.Column("bytes", sa.BigInteger(), nullable=False),
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("sha256", "key")),
        sa.ForeignKeyConstraint(["silhouette_id"], ["silhouettes.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("silhouette_id", "name"),
    )
    op.create_index("silhouette_files_by_key", "silhouette_files", ["key"])
