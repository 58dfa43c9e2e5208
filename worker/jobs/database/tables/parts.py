"""The tables of the part cache: parts that were made, and locks on those that are being made."""

from datetime import datetime
from typing import Any

from sqlalchemy import Text, types
from sqlalchemy.orm import Mapped, mapped_column

from worker.jobs.database.tables.base import Base, UtcDateTime


class PartRow(Base):
    """A part that was built and passed its checks against one set of limits."""

    __tablename__ = "parts"

    digest: Mapped[str] = mapped_column(Text, primary_key=True)
    limits: Mapped[str] = mapped_column(Text, primary_key=True)
    record: Mapped[dict[str, Any]] = mapped_column(types.JSON)
    created: Mapped[datetime] = mapped_column(UtcDateTime)


class PartLockRow(Base):
    """The lock on a part that is being built or swept."""

    __tablename__ = "part_claims"

    digest: Mapped[str] = mapped_column(Text, primary_key=True)
    holder: Mapped[str] = mapped_column(Text)
    lease: Mapped[datetime] = mapped_column(UtcDateTime)
