"""Print events have the clearance that the coupon showed, the printer of a run, and its print time."""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0015"


def upgrade() -> None:
    """Make the change."""
    op.add_column("print_events", sa.Column("clearance", sa.Double(), nullable=True))
    op.add_column("print_events", sa.Column("printer", sa.Text(), nullable=True))
    op.add_column("print_events", sa.Column("seconds", sa.Double(), nullable=True))
