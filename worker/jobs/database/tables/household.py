"""The tables of the household: its drawers, its things with their words, and printed pieces."""

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, Index, Text, types
from sqlalchemy.orm import Mapped, mapped_column

from worker.jobs.database.tables.base import Base, UtcDateTime


class DrawerRow(Base):
    """A drawer of the household: its measurements, and what it was last laid out as."""

    __tablename__ = "drawers"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    owner: Mapped[str] = mapped_column(Text)
    name: Mapped[str] = mapped_column(Text)
    #: Its `DrawerRequest` as JSON.
    document: Mapped[str] = mapped_column(Text)
    #: Its tags, each between line feeds.
    tags: Mapped[str] = mapped_column(Text)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    updated: Mapped[datetime] = mapped_column(UtcDateTime)
    revision: Mapped[int] = mapped_column(default=1)
    #: The job's manifest reduced to this drawer, the job, and when its first piece was placed. The job may be deleted.
    layout: Mapped[str | None] = mapped_column(Text, default=None)
    layout_job: Mapped[str | None] = mapped_column(Text, default=None)
    #: What else a later job has to repeat of the job's spec, so that printed parts still fit: grid, printer, trays.
    layout_settings: Mapped[dict[str, Any] | None] = mapped_column(types.JSON(none_as_null=True), default=None)
    laid_out: Mapped[datetime | None] = mapped_column(UtcDateTime, default=None)

    __table_args__ = (Index("drawers_by_owner", "owner", "id"),)


class ThingRow(Base):
    """A thing of the household."""

    __tablename__ = "things"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    owner: Mapped[str] = mapped_column(Text)
    name: Mapped[str] = mapped_column(Text)
    #: Its `ThingRequest` as JSON, without the drawer.
    document: Mapped[str] = mapped_column(Text)
    tags: Mapped[str] = mapped_column(Text)
    access: Mapped[str] = mapped_column(Text)
    drawer_id: Mapped[str | None] = mapped_column(ForeignKey("drawers.id", ondelete="SET NULL"), default=None)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    updated: Mapped[datetime] = mapped_column(UtcDateTime)
    revision: Mapped[int] = mapped_column(default=1)

    __table_args__ = (Index("things_by_owner", "owner", "id"), Index("things_by_drawer", "drawer_id"))


class ThingPlaceRow(Base):
    """Where some of a thing lie: a compartment of a tray in a drawer's layout."""

    __tablename__ = "thing_places"

    drawer_id: Mapped[str] = mapped_column(ForeignKey("drawers.id", ondelete="CASCADE"), primary_key=True)
    #: Index in the contents of the layout.
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    thing_id: Mapped[str] = mapped_column(ForeignKey("things.id", ondelete="CASCADE"))

    __table_args__ = (Index("thing_places_by_thing", "thing_id"),)


class ThingWordRow(Base):
    """A word by which a thing is found."""

    __tablename__ = "thing_words"

    owner: Mapped[str] = mapped_column(Text, primary_key=True)
    word: Mapped[str] = mapped_column(Text, primary_key=True)
    thing_id: Mapped[str] = mapped_column(ForeignKey("things.id", ondelete="CASCADE"), primary_key=True)
    weight: Mapped[float] = mapped_column()

    __table_args__ = (Index("thing_words_by_thing", "thing_id"), Index("thing_words_by_word", "word"))


class WordTrigramRow(Base):
    """A trigram of a word by which any thing is, or once was, found."""

    __tablename__ = "word_trigrams"

    trigram: Mapped[str] = mapped_column(Text, primary_key=True)
    word: Mapped[str] = mapped_column(Text, primary_key=True)


class PieceRow(Base):
    """A printed piece."""

    __tablename__ = "pieces"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    owner: Mapped[str] = mapped_column(Text)
    mark: Mapped[str] = mapped_column(Text)
    kind: Mapped[str] = mapped_column(Text)
    name: Mapped[str] = mapped_column(Text)
    digest: Mapped[str] = mapped_column(Text)
    #: Fingerprint of its shape, which does not depend on its mark.
    shape: Mapped[str | None] = mapped_column(Text, default=None)
    state: Mapped[str] = mapped_column(Text)
    drawer_id: Mapped[str | None] = mapped_column(ForeignKey("drawers.id", ondelete="SET NULL"), default=None)
    #: Index in the placements of the drawer's layout.
    placement: Mapped[int | None] = mapped_column(default=None)
    #: The job that printed it. No foreign key: the job may be deleted.
    job_id: Mapped[str | None] = mapped_column(Text, default=None)
    #: The part's entry in the job's manifest, without files and checks.
    part: Mapped[dict[str, Any] | None] = mapped_column(types.JSON(none_as_null=True), default=None)
    note: Mapped[str | None] = mapped_column(Text, default=None)
    created: Mapped[datetime] = mapped_column(UtcDateTime)
    updated: Mapped[datetime] = mapped_column(UtcDateTime)
    revision: Mapped[int] = mapped_column(default=1)

    __table_args__ = (
        Index("pieces_by_owner", "owner", "id"),
        Index("pieces_by_drawer", "drawer_id"),
        Index("pieces_by_job", "job_id", "mark"),
        Index("pieces_by_shape", "owner", "shape"),
    )
