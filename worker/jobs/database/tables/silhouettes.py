"""The tables of silhouettes and their files."""

from datetime import datetime
from typing import Any

from sqlalchemy import BigInteger, ForeignKey, Index, Text, types
from sqlalchemy.orm import Mapped, mapped_column

from worker.jobs.database.tables.base import Base, UtcDateTime


class SilhouetteRow(Base):
    """A thing's outline, or the files that are to be read for it."""

    __tablename__ = "silhouettes"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    owner: Mapped[str] = mapped_column(Text)
    name: Mapped[str] = mapped_column(Text)
    #: "photo", "drawing", "model" or "points".
    kind: Mapped[str] = mapped_column(Text)
    #: "queued", "running", "succeeded" or "failed".
    state: Mapped[str] = mapped_column(Text)
    #: Its `SilhouetteRequest` as JSON.
    request: Mapped[str] = mapped_column(Text)
    #: Its tags, each between line feeds.
    tags: Mapped[str] = mapped_column(Text, default="", server_default="")
    #: The outline and the poses of a model as JSON.
    result: Mapped[str | None] = mapped_column(Text, default=None)
    #: Whether a person changed the outline.
    corrected: Mapped[bool] = mapped_column(default=False)
    problem: Mapped[dict[str, Any] | None] = mapped_column(types.JSON(none_as_null=True), default=None)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    updated: Mapped[datetime] = mapped_column(UtcDateTime)
    finished: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    enqueued: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    claim: Mapped[str | None] = mapped_column(Text, default=None)
    lease: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)
    attempts: Mapped[int] = mapped_column(default=0)
    #: Total size of its files.
    bytes: Mapped[int] = mapped_column(BigInteger, default=0)
    revision: Mapped[int] = mapped_column(default=1)

    __table_args__ = (
        Index("silhouettes_by_owner", "owner", "id"),
        Index("silhouettes_by_state", "state", "id"),
        Index("silhouettes_by_change", "updated", "id"),
    )


class SilhouetteFileRow(Base):
    """A file of a silhouette: an upload that is to be read or kept, or a picture."""

    __tablename__ = "silhouette_files"

    silhouette_id: Mapped[str] = mapped_column(ForeignKey("silhouettes.id", ondelete="CASCADE"), primary_key=True)
    name: Mapped[str] = mapped_column(Text, primary_key=True)
    media_type: Mapped[str] = mapped_column(Text)
    bytes: Mapped[int] = mapped_column(BigInteger)
    sha256: Mapped[str] = mapped_column(Text)
    key: Mapped[str] = mapped_column(Text)

    __table_args__ = (Index("silhouette_files_by_key", "key"),)
