"""${message}."""

import sqlalchemy as sa
from alembic import op

from worker.jobs.database.tables import Moment
${imports if imports else ""}
revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}


def upgrade() -> None:
    """Make the change."""
    ${upgrades if upgrades else "pass"}
