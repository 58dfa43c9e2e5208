"""The typeface of sheets: DejaVu Sans (its licence lies beside it), which has Latin, Greek, Cyrillic and many signs.

It is among the widest faces in use, so what is measured here leaves room in whatever sans serif a browser takes.
Lengths are in the unit of the size.
"""

import unicodedata
from functools import lru_cache
from importlib.resources import as_file, files
from typing import Any, Final

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

__all__ = [
    "ASCENT",
    "LINE",
    "MISSING",
    "clean",
    "fitted",
    "font_name",
    "lacks",
    "plain",
    "printable",
    "text_width",
    "wrapped",
]

#: Stands on paper for a character that cannot be set.
MISSING: Final = "?"
#: Height of a line and of its part above the baseline, in sizes of the type: the face's own, rounded up.
LINE: Final = 1.2
ASCENT: Final = 0.94

_ELLIPSIS: Final = "\u2026"
#: A character that the face lacks is taken to be this wide, in sizes of the type: a full-width one is 1.
_WIDE: Final = 1.0
_NAMES: Final = ("DejaVuSans", "DejaVuSans-Bold")


def _registered(name: str) -> Any:
    with as_file(files("worker.output") / "fonts" / f"{name}.ttf") as path:
        face = TTFont(name, str(path))
    pdfmetrics.registerFont(face)
    return face


#: A canvas finds a face by name in reportlab's own table and nowhere else. The table is filled once, while this module
#: is loaded; afterwards nothing here writes to it, and what a document takes of a face is kept with that document.
_FACES: Final = tuple(_registered(name) for name in _NAMES)


def font_name(*, bold: bool) -> str:
    """Return the name by which a canvas finds the face."""
    return _NAMES[bold]


def clean(text: str) -> str:
    """Return a text without what is not seen: control characters and marks that turn the direction of others."""
    return "".join(" " if sign in "\t\r\n" else sign for sign in text if sign in "\t\r\n" or _seen(sign))


def plain(text: str) -> str:
    """Return a clean text with its marks joined to their letters, as it is set."""
    return unicodedata.normalize("NFC", clean(text))


def _seen(sign: str) -> bool:
    return unicodedata.category(sign) not in {"Cc", "Cf", "Cs", "Cn", "Co"}


@lru_cache(maxsize=4096)
def _settable(sign: str) -> bool:
    """Say whether a PDF can have the sign: the face has it, and it needs no joining and no line from the right."""
    if ord(sign) not in _FACES[0].face.charToGlyph or ord(sign) not in _FACES[1].face.charToGlyph:
        return False
    return unicodedata.bidirectional(sign) not in {"R", "AL", "AN"} and not unicodedata.combining(sign)


def lacks(text: str) -> bool:
    """Say whether a PDF shows the text with a sign that stands for a missing one."""
    return not all(map(_settable, plain(text)))


def printable(text: str) -> str:
    """Return a text in which what cannot be set is told by a sign that can."""
    return "".join(sign if _settable(sign) else MISSING for sign in clean(text))


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return the width of a line; characters that cannot be set count as full-width ones."""
    settable = "".join(filter(_settable, text))
    return float(_FACES[bold].stringWidth(settable, size)) + _WIDE * size * (len(text) - len(settable))


def fitted(text: str, room: float, size: float, *, least: float, bold: bool = False) -> tuple[str, float]:
    """Return a line and its size that fit a width: the text itself if it can, else its beginning, else nothing."""
    text = plain(text)
    width = text_width(text, 1.0, bold=bold)
    if width * least <= room:
        return text, min(size, room / width if width else size)
    end = len(text)
    while end and text_width(text[:end].rstrip() + _ELLIPSIS, least, bold=bold) > room:
        end -= 1
    return (text[:end].rstrip() + _ELLIPSIS if text[:end].rstrip() else ""), least


def wrapped(text: str, room: float, size: float, *, bold: bool = False) -> list[str]:
    """Return a text as lines no wider than the room; a word too long for a line is shortened."""
    lines: list[str] = []
    for word in plain(text).split():
        if lines and text_width(f"{lines[-1]} {word}", size, bold=bold) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(fitted(word, room, size, least=size, bold=bold)[0])
    return lines
