"""Print events keep the estimated time of their run, beside the measured one."""

import sqlalchemy as sa
from alembic import op

revision = "0021"
down_revision = "0020"


def upgrade() -> None:
    """Make the change."""
    op.add_column("print_events", sa.Column("estimate", sa.Double(), nullable=True))
