"""Tables and lines on standard output, with control characters removed."""

from collections.abc import Iterable, Sequence
from typing import Final

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

__all__ = ["line", "plain", "results", "say", "table"]

#: Standard output; rich colours it only on a terminal and only without NO_COLOR (no-color.org).
results: Final = Console(highlight=False)


def table(titles: Sequence[str], rows: Iterable[Sequence[str]], *, whole: Sequence[str] = ()) -> None:
    """Print rows under column titles; cells in the columns named in ``whole`` are never wrapped."""
    made = Table(box=SIMPLE_HEAD, header_style="bold")
    for title in titles:
        made.add_column(title, no_wrap=True) if title in whole else made.add_column(title, overflow="fold")
    for row in rows:
        made.add_row(*(plain(cell) for cell in row))
    results.print(made)


def say(text: str, style: str = "") -> None:
    """Print one line of text."""
    results.print(plain(text), style=style, soft_wrap=True)


def line(text: str) -> str:
    """Return the text with unprintable characters replaced by U+FFFD, so that no control code reaches a terminal."""
    return "".join(sign if sign.isprintable() else "\ufffd" for sign in text)


def plain(text: str) -> Text:
    """Return the text without rich's markup and without control characters."""
    return Text(line(text))
