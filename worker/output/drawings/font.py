"""The typeface of sheets: DejaVu Sans, with Latin, Greek, Cyrillic and many symbols; its licence is in ``fonts``.

It is among the widest sans serifs in use, so text measured here also fits in the one that a browser chooses. Widths are
in the unit of the type size.
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

#: Replaces a character that a PDF cannot show.
MISSING: Final = "?"
#: Height of a line and of its part above the baseline, in type sizes: the typeface's own, rounded up.
LINE: Final = 1.2
ASCENT: Final = 0.94

_ELLIPSIS: Final = "\u2026"
#: Assumed width of a character that the typeface lacks, in type sizes: that of a full-width character.
_WIDE: Final = 1.0
_NAMES: Final = ("DejaVuSans", "DejaVuSans-Bold")


def _registered(name: str) -> Any:
    with as_file(files("worker.output") / "fonts" / f"{name}.ttf") as path:
        face = TTFont(name, str(path), asciiReadable=False)
    pdfmetrics.registerFont(face)
    return face


#: Regular and bold. A canvas looks typefaces up in reportlab's global table, which is filled once, when this module is
#: imported; the subset that a document embeds is kept with that document.
_FACES: Final = tuple(_registered(name) for name in _NAMES)


def font_name(*, bold: bool) -> str:
    """Return the name under which the typeface is registered with reportlab."""
    return _NAMES[bold]


def clean(text: str) -> str:
    """Return a text without invisible characters: control and formatting characters, such as directional marks."""
    if text.isprintable():  # most texts: no character is of the categories below
        return text
    return "".join(" " if sign in "\t\r\n" else sign for sign in text if sign in "\t\r\n" or _seen(sign))


def plain(text: str) -> str:
    """Return a clean text in the normal form NFC, which joins combining marks to their letters."""
    return unicodedata.normalize("NFC", clean(text))


def _seen(sign: str) -> bool:
    return unicodedata.category(sign) not in {"Cc", "Cf", "Cs", "Cn", "Co"}


@lru_cache(maxsize=4096)
def _settable(sign: str) -> bool:
    """Return whether a PDF can show the character: in the typeface, not combining, not written right to left."""
    if ord(sign) not in _FACES[0].face.charToGlyph or ord(sign) not in _FACES[1].face.charToGlyph:
        return False
    return unicodedata.bidirectional(sign) not in {"R", "AL", "AN"} and not unicodedata.combining(sign)


def lacks(text: str) -> bool:
    """Return whether a PDF shows the text with characters replaced by `MISSING`."""
    return not all(map(_settable, plain(text)))


@lru_cache(maxsize=8192)  # the sheets of a job's runs have the same paragraphs
def printable(text: str) -> str:
    """Return a clean text in which `MISSING` replaces characters that a PDF cannot show."""
    return "".join(sign if _settable(sign) else MISSING for sign in clean(text))


@lru_cache(maxsize=8192)
def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return the width of a line in the unit of ``size``; characters that a PDF cannot show count as full-width."""
    settable = "".join(filter(_settable, text))
    return float(_FACES[bold].stringWidth(settable, size)) + _WIDE * size * (len(text) - len(settable))


def fitted(text: str, room: float, size: float, *, least: float, bold: bool = False) -> tuple[str, float]:
    """Return a text and a size, at least ``least``, that fit a width; a text that is too long is cut off or empty."""
    text = plain(text)
    width = text_width(text, 1.0, bold=bold)
    if width * least <= room:
        return text, min(size, room / width if width else size)
    end = len(text)
    while end and text_width(text[:end].rstrip() + _ELLIPSIS, least, bold=bold) > room:
        end -= 1
    return (text[:end].rstrip() + _ELLIPSIS if text[:end].rstrip() else ""), least


def wrapped(text: str, room: float, size: float, *, bold: bool = False) -> list[str]:
    """Return a text as lines of at most the width ``room``; a word too long for a line is cut off."""
    lines: list[str] = []
    for word in plain(text).split():
        if lines and text_width(f"{lines[-1]} {word}", size, bold=bold) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(fitted(word, room, size, least=size, bold=bold)[0])
    return lines
