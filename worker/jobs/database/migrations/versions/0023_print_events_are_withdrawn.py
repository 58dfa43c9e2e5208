"""A print event can withdraw an earlier one."""

import sqlalchemy as sa
from alembic import op

revision = "0023"
down_revision = "0022"


def upgrade() -> None:
    """Make the change."""
    op.add_column("print_events", sa.Column("event", sa.Integer(), nullable=True))
    op.add_column("print_events", sa.Column("withdrawn_by", sa.Integer(), nullable=True))
