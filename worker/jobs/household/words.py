"""Words of names and queries, compared with tolerance for typing errors and word forms.

Words are compared by trigrams (groups of three letters, with two blanks before a word and one behind it) and by edit
distance; English plural endings are removed first. Nothing depends on the language otherwise.
"""

import re
import unicodedata
from functools import lru_cache
from typing import Final

__all__ = ["MOST_WORDS", "stems_of", "trigrams", "word_similarity", "words_of"]

#: Most words of a query, or of the text of one thing, that count.
MOST_WORDS: Final = 60

#: Longest part of a word that counts.
_LONGEST: Final = 30

_WORD: Final = re.compile(r"[^\W_]+")

#: Words of questions that name no thing.
_FILLERS: Final = frozenset(
    {
        "a",
        "an",
        "any",
        "are",
        "at",
        "do",
        "does",
        "find",
        "for",
        "have",
        "i",
        "in",
        "is",
        "look",
        "my",
        "of",
        "on",
        "our",
    }
    | {"some", "the", "we", "what", "where", "which", "your"}
)

#: Similarity of equal stems, and of a word that begins with the other.
_SAME_STEM: Final = 0.97
_BEGINNING: Final = 0.9
_LEAST_BEGINNING: Final = 3
#: Similarity of a word that has this many letters more at its end, and their number: lenses, a lens.
_LONGER: Final = 0.85
_ENDING: Final = 2


def words_of(text: str, *, query: bool = False) -> tuple[str, ...]:
    """Return the words of a text in lower case, without accents and repetitions.

    Args:
        text: any text.
        query: leave out words of questions such as "where", if any other word remains.
    """
    plain = "".join(sign for sign in unicodedata.normalize("NFKD", text) if not unicodedata.combining(sign))
    words = tuple(dict.fromkeys(word[:_LONGEST] for word in _WORD.findall(plain.casefold())))[:MOST_WORDS]
    if not query:
        return words
    return tuple(word for word in words if word not in _FILLERS) or words


def stems_of(text: str) -> frozenset[str]:
    """Return the words of a text without their plural endings, in no order."""
    return frozenset(_stem(word) for word in words_of(text))


def trigrams(word: str) -> frozenset[str]:
    """Return the trigrams of a word without its plural ending."""
    return _trigrams(_stem(word))


@lru_cache(maxsize=65_536)
def word_similarity(word: str, other: str) -> float:
    """Return how alike two words are, from 0 to 1; ``word`` may be the beginning of the other."""
    if word == other:
        return 1.0
    stem, other_stem = _stem(word), _stem(other)
    if stem == other_stem:
        return _SAME_STEM
    if len(stem) >= _LEAST_BEGINNING and other_stem.startswith(stem):
        return _BEGINNING
    if len(other_stem) >= _LEAST_BEGINNING and stem.startswith(other_stem) and len(stem) - len(other_stem) <= _ENDING:
        return _LONGER
    first, second = _trigrams(stem), _trigrams(other_stem)
    shared = 2.0 * len(first & second) / (len(first) + len(second))
    longest = max(len(stem), len(other_stem))
    if abs(len(stem) - len(other_stem)) > longest // 2:
        return shared
    return max(shared, 1.0 - _distance(stem, other_stem) / longest)


def _stem(word: str) -> str:
    """Return a word without an English plural ending."""
    if len(word) > 4 and word.endswith("ies"):  # noqa: PLR2004 - "ties" stays
        return f"{word[:-3]}y"
    if len(word) > 4 and word.endswith("ves"):  # noqa: PLR2004 - knives, scarves; the rest is left to the distance
        return f"{word[:-3]}f"
    if len(word) > 4 and word.endswith(("ches", "shes", "sses", "xes")):  # noqa: PLR2004 - as above
        return word[:-2]
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word  # noqa: PLR2004


@lru_cache(maxsize=65_536)
def _trigrams(word: str) -> frozenset[str]:
    padded = f"  {word} "
    return frozenset(padded[start : start + 3] for start in range(len(padded) - 2))


def _distance(first: str, second: str) -> int:
    """Return the optimal string alignment distance: insertions, deletions, replacements and swaps of neighbours."""
    before: list[int] = []
    last = list(range(len(second) + 1))
    for row, sign in enumerate(first, start=1):
        current = [row]
        for column, other in enumerate(second, start=1):
            cost = min(last[column] + 1, current[-1] + 1, last[column - 1] + (sign != other))
            if row > 1 and column > 1 and sign == second[column - 2] and first[row - 2] == other:
                cost = min(cost, before[column - 2] + 1)
            current.append(cost)
        before, last = last, current
    return last[-1]
