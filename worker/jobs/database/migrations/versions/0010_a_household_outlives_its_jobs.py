"""A household outlives its jobs: drawers, things and pieces."""

import sqlalchemy as sa
from alembic import op

from worker.jobs.database.tables import UtcDateTime

revision = "0010"
down_revision = "0005"


def upgrade() -> None:
    """Make the change."""
    op.create_table(
        "drawers",
        *_common_columns(),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("tags", sa.Text(), nullable=False),
        sa.Column("layout", sa.Text(), nullable=True),
        sa.Column("layout_job", sa.Text(), nullable=True),
        sa.Column("layout_settings", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("laid_out", UtcDateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("drawers_by_owner", "drawers", ["owner", "id"])
    op.create_table(
        "things",
        *_common_columns(),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("tags", sa.Text(), nullable=False),
        sa.Column("access", sa.Text(), nullable=False),
        sa.Column("drawer_id", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["drawer_id"], ["drawers.id"], ondelete="SET NULL"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("things_by_owner", "things", ["owner", "id"])
    op.create_index("things_by_drawer", "things", ["drawer_id"])
    op.create_table(
        "thing_places",
        sa.Column("drawer_id", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("thing_id", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["drawer_id"], ["drawers.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["thing_id"], ["things.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("drawer_id", "number"),
    )
    op.create_index("thing_places_by_thing", "thing_places", ["thing_id"])
    op.create_table(
        "thing_words",
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("word", sa.Text(), nullable=False),
        sa.Column("thing_id", sa.Text(), nullable=False),
        sa.Column("weight", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["thing_id"], ["things.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("owner", "word", "thing_id"),
    )
    op.create_index("thing_words_by_thing", "thing_words", ["thing_id"])
    op.create_index("thing_words_by_word", "thing_words", ["word"])
    op.create_table(
        "word_trigrams",
        sa.Column("trigram", sa.Text(), nullable=False),
        sa.Column("word", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("trigram", "word"),
    )
    op.create_table(
        "pieces",
        *_common_columns(),
        sa.Column("mark", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("shape", sa.Text(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("drawer_id", sa.Text(), nullable=True),
        sa.Column("placement", sa.Integer(), nullable=True),
        sa.Column("job_id", sa.Text(), nullable=True),
        sa.Column("part", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["drawer_id"], ["drawers.id"], ondelete="SET NULL"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("pieces_by_owner", "pieces", ["owner", "id"])
    op.create_index("pieces_by_drawer", "pieces", ["drawer_id"])
    op.create_index("pieces_by_job", "pieces", ["job_id", "mark"])
    op.create_index("pieces_by_shape", "pieces", ["owner", "shape"])


def _common_columns() -> list[sa.Column[object]]:
    return [
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("created", UtcDateTime(timezone=True), nullable=False),
        sa.Column("updated", UtcDateTime(timezone=True), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
    ]
