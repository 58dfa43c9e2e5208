"""Tables and lines on standard output, without anything in them that a terminal would obey."""

from collections.abc import Iterable, Sequence
from typing import Final

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

__all__ = ["line", "plain", "results", "say", "table"]

#: Standard output; colours only on a terminal, and none where NO_COLOR is set (no-color.org), as rich has it.
results: Final = Console(highlight=False)


def table(titles: Sequence[str], rows: Iterable[Sequence[str]], *, whole: Sequence[str] = ()) -> None:
    """Print rows; columns of the titles in ``whole`` are never broken."""
    made = Table(box=SIMPLE_HEAD, header_style="bold")
    for title in titles:
        made.add_column(title, no_wrap=True) if title in whole else made.add_column(title, overflow="fold")
    for row in rows:
        made.add_row(*(plain(cell) for cell in row))
    results.print(made)


def say(text: str, style: str = "") -> None:
    """Print a line."""
    results.print(plain(text), style=style, soft_wrap=True)


def line(text: str) -> str:
    """Return the text without what a terminal would obey."""
    return "".join(sign if sign.isprintable() else "\ufffd" for sign in text)


def plain(text: str) -> Text:
    """Return the text as it is, without what a terminal would obey."""
    return Text(line(text))
