"""The tables of the first version."""

import sqlalchemy as sa
from alembic import op

from worker.jobs.database.tables import UtcDateTime

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the change."""
    op.create_table(
        "batches",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("created", UtcDateTime(timezone=True), nullable=False),
        sa.Column("finished", UtcDateTime(timezone=True), nullable=True),
        sa.Column("enqueued", UtcDateTime(timezone=True), nullable=True),
        sa.Column("claim", sa.Text(), nullable=True),
        sa.Column("lease", UtcDateTime(timezone=True), nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("problem", sa.JSON(none_as_null=True), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("batches", schema=None) as batch_op:
        batch_op.create_index("batches_by_state", ["state", "id"], unique=False)

    op.create_table(
        "heartbeats",
        sa.Column("worker", sa.Text(), nullable=False),
        sa.Column("seen", UtcDateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("worker"),
    )
    op.create_table(
        "jobs",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("spec", sa.Text(), nullable=False),
        sa.Column("created", UtcDateTime(timezone=True), nullable=False),
        sa.Column("updated", UtcDateTime(timezone=True), nullable=False),
        sa.Column("started", UtcDateTime(timezone=True), nullable=True),
        sa.Column("finished", UtcDateTime(timezone=True), nullable=True),
        sa.Column("enqueued", UtcDateTime(timezone=True), nullable=True),
        sa.Column("claim", sa.Text(), nullable=True),
        sa.Column("lease", UtcDateTime(timezone=True), nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("progress_done", sa.Integer(), nullable=False),
        sa.Column("progress_total", sa.Integer(), nullable=False),
        sa.Column("progress_now", sa.Text(), nullable=True),
        sa.Column("problem", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("cause", sa.Text(), nullable=True),
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("bytes", sa.BigInteger(), nullable=False),
        sa.Column("deleted", UtcDateTime(timezone=True), nullable=True),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("jobs", schema=None) as batch_op:
        batch_op.create_index("jobs_by_change", ["updated"], unique=False)
        batch_op.create_index("jobs_by_owner", ["owner", "id"], unique=False)
        batch_op.create_index("jobs_by_state", ["state", "id"], unique=False)

    op.create_table(
        "keys",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("scopes", sa.JSON(), nullable=False),
        sa.Column("quotas", sa.JSON(), nullable=False),
        sa.Column("created", UtcDateTime(timezone=True), nullable=False),
        sa.Column("expires", UtcDateTime(timezone=True), nullable=True),
        sa.Column("revoked", UtcDateTime(timezone=True), nullable=True),
        sa.Column("last_used", UtcDateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "leaders",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("holder", sa.Text(), nullable=True),
        sa.Column("lease", UtcDateTime(timezone=True), nullable=False),
        sa.Column("place", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("name"),
    )
    op.create_table(
        "part_claims",
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("holder", sa.Text(), nullable=False),
        sa.Column("lease", UtcDateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("digest"),
    )
    op.create_table(
        "parts",
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("limits", sa.Text(), nullable=False),
        sa.Column("record", sa.JSON(), nullable=False),
        sa.Column("created", UtcDateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("digest", "limits"),
    )
    op.create_table(
        "repeats",
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("fingerprint", sa.Text(), nullable=False),
        sa.Column("made", sa.Text(), nullable=False),
        sa.Column("created", UtcDateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("owner", "key"),
    )
    with op.batch_alter_table("repeats", schema=None) as batch_op:
        batch_op.create_index("repeats_by_age", ["created"], unique=False)

    op.create_table(
        "usage",
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("day", sa.Text(), nullable=False),
        sa.Column("jobs", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("owner", "day"),
    )
    op.create_table(
        "webhooks",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("url", sa.Text(), nullable=False),
        sa.Column("events", sa.JSON(), nullable=False),
        sa.Column("jobs", sa.Text(), nullable=False),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.Column("secret_before", sa.Text(), nullable=True),
        sa.Column("overlap", UtcDateTime(timezone=True), nullable=True),
        sa.Column("created", UtcDateTime(timezone=True), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("resume", UtcDateTime(timezone=True), nullable=True),
        sa.Column("delivered", sa.Integer(), nullable=False),
        sa.Column("dropped", sa.Integer(), nullable=False),
        sa.Column("last_success", UtcDateTime(timezone=True), nullable=True),
        sa.Column("last_failure", UtcDateTime(timezone=True), nullable=True),
        sa.Column("problem", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("webhooks", schema=None) as batch_op:
        batch_op.create_index("webhooks_by_owner", ["owner", "id"], unique=False)

    op.create_table(
        "batch_entries",
        sa.Column("batch_id", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("job_id", sa.Text(), nullable=True),
        sa.Column("problem", sa.JSON(none_as_null=True), nullable=True),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("batch_id", "number"),
    )
    with op.batch_alter_table("batch_entries", schema=None) as batch_op:
        batch_op.create_index("batch_entries_by_job", ["job_id"], unique=False)

    op.create_table(
        "batch_files",
        sa.Column("batch_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("media_type", sa.Text(), nullable=False),
        sa.Column("bytes", sa.BigInteger(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("batch_id", "name"),
    )
    op.create_table(
        "job_files",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("media_type", sa.Text(), nullable=False),
        sa.Column("bytes", sa.BigInteger(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "name"),
    )
    with op.batch_alter_table("job_files", schema=None) as batch_op:
        batch_op.create_index("job_files_by_key", ["key"], unique=False)

    op.create_table(
        "job_webhooks",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("webhook_id", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["webhook_id"], ["webhooks.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "webhook_id"),
    )
    op.create_table(
        "outbox",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("webhook_id", sa.Text(), nullable=False),
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("type", sa.Text(), nullable=False),
        sa.Column("payload", sa.Text(), nullable=False),
        sa.Column("created", UtcDateTime(timezone=True), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("next_try", UtcDateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["webhook_id"], ["webhooks.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    with op.batch_alter_table("outbox", schema=None) as batch_op:
        batch_op.create_index("outbox_by_endpoint", ["webhook_id", "next_try"], unique=False)
        batch_op.create_index("outbox_by_job", ["job_id"], unique=False)

    op.create_table(
        "print_events",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("fingerprint", sa.Text(), nullable=False),
        sa.Column("recorded", UtcDateTime(timezone=True), nullable=False),
        sa.Column("at", UtcDateTime(timezone=True), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("run", sa.Integer(), nullable=True),
        sa.Column("mark", sa.Text(), nullable=True),
        sa.Column("count", sa.Integer(), nullable=True),
        sa.Column("failed", sa.JSON(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("pieces_left", sa.Integer(), nullable=False),
        sa.Column("runs_left", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "number"),
    )
    with op.batch_alter_table("print_events", schema=None) as batch_op:
        batch_op.create_index("print_events_by_id", ["job_id", "id"], unique=True)

    op.create_table(
        "print_states",
        sa.Column("job_id", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("standing", sa.JSON(), nullable=False),
        sa.Column("repack", sa.Boolean(), nullable=False),
        sa.Column("enqueued", UtcDateTime(timezone=True), nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("problem", sa.JSON(none_as_null=True), nullable=True),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id"),
    )
    with op.batch_alter_table("print_states", schema=None) as batch_op:
        batch_op.create_index("print_states_by_repack", ["repack", "job_id"], unique=False)
