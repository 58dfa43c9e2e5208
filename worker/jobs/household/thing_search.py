"""Search for things by name, tag and catalogue name, with tolerance for typing errors and word forms.

The index consists of tables, the same on SQLite and PostgreSQL: it needs no extension, which many roles of a PostgreSQL
server may not create, and it is part of every backup. A word of the query is first compared with the distinct words of
all things, by their trigrams; then the things with the most alike words are ranked.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, Engine, Float, case, cast, delete, func, insert, select, union_all

from worker.jobs.database.connection import upsert
from worker.jobs.database.tables import ThingRow, ThingWordRow, WordTrigramRow
from worker.jobs.household.models import StoredThing, thing_of
from worker.jobs.household.words import trigrams, word_similarity, words_of
from worker.spec.items.item import Standard
from worker.spec.requests.household import ThingRequest

__all__ = ["MatchedThing", "ThingSearch", "index_new_things", "index_thing"]

#: Words that are compared with a word of the query, and of these the most that count.
_CANDIDATES: Final = 60
_ALIKE: Final = 20

#: Share of a word's trigrams that a candidate must have; a typing error costs up to three.
_LEAST_SHARE: Final = 0.3

#: Least likeness of two words, and least mean over the words of the query: "red hammer" finds a hammer.
_LEAST_LIKENESS: Final = 0.55
_LEAST_SCORE: Final = 0.45

#: Most words of a query.
_MOST_WORDS: Final = 8

#: Weights of words of the name, and of tags and the catalogue.
_NAME: Final = 1.0
_OTHER: Final = 0.9


@dataclass(frozen=True, slots=True)
class MatchedThing:
    """A thing that matches a query, and how well, from 0 to 1."""

    thing: StoredThing
    score: float


class ThingSearch:
    """Searches the things of an owner, or of all owners for None."""

    def __init__(self, database: Engine) -> None:
        """Use this database."""
        self._database = database

    def find(self, query: str, owner: str | None, limit: int) -> list[MatchedThing]:
        """Return up to ``limit`` things that match a query, best first; none if it has no words."""
        words = words_of(query, query=True)[:_MOST_WORDS]
        with self._database.connect() as connection:
            alike = [_alike_words(connection, word) for word in words]
            scores = _scores(connection, [likeness for likeness in alike if likeness], owner, len(words), limit)
            things = _things(connection, scores)
        return [MatchedThing(things[thing_id], score) for thing_id, score in scores.items() if thing_id in things]


def index_thing(connection: Connection, thing_id: str, owner: str, request: ThingRequest) -> None:
    """Replace the words by which a thing is found."""
    connection.execute(delete(ThingWordRow).where(ThingWordRow.thing_id == thing_id))
    index_new_things(connection, owner, {thing_id: request})


def index_new_things(connection: Connection, owner: str, things: Mapping[str, ThingRequest]) -> None:
    """Add the words by which things are found; none of them is indexed yet."""
    rows: list[dict[str, Any]] = []
    for thing_id, request in things.items():
        weights: dict[str, float] = {}
        for word, weight in _words(request):
            weights[word] = max(weight, weights.get(word, 0.0))
        rows += [
            {"owner": owner, "word": word, "thing_id": thing_id, "weight": weight}
            for word, weight in sorted(weights.items())
        ]
    if not rows:
        return
    connection.execute(insert(ThingWordRow), rows)
    words = sorted({row["word"] for row in rows})
    pairs = [{"trigram": trigram, "word": word} for word in words for trigram in sorted(trigrams(word))]
    connection.execute(upsert(connection, WordTrigramRow).on_conflict_do_nothing(), pairs)


def _alike_words(connection: Connection, word: str) -> dict[str, float]:
    """Return the words of things that are most alike to a word of a query, with their likeness."""
    groups = trigrams(word)
    shared = func.count()
    query = (
        select(WordTrigramRow.word)
        .where(WordTrigramRow.trigram.in_(groups))
        .group_by(WordTrigramRow.word)
        .having(shared >= max(1, round(_LEAST_SHARE * len(groups))))
        .order_by(shared.desc(), func.length(WordTrigramRow.word), WordTrigramRow.word)
        .limit(_CANDIDATES)
    )
    likeness = {other: word_similarity(word, other) for other in connection.scalars(query)}
    best = sorted(likeness, key=lambda other: (-likeness[other], other))[:_ALIKE]
    return {other: likeness[other] for other in best if likeness[other] >= _LEAST_LIKENESS}


def _scores(
    connection: Connection, alike: Sequence[Mapping[str, float]], owner: str | None, words: int, limit: int
) -> dict[str, float]:
    """Return the best things with their scores: the mean, over ``words`` words, of the most alike word's likeness.

    Args:
        connection: to the database.
        alike: for each word of the query that has any, alike words with their likeness.
        owner: the owner of the things, None for all.
        words: number of words of the query.
        limit: most things.
    """
    if not alike:
        return {}
    owned = () if owner is None else (ThingWordRow.owner == owner,)
    single = [
        select(ThingWordRow.thing_id, func.max(_likeness(likeness) * ThingWordRow.weight).label("likeness"))
        .where(ThingWordRow.word.in_(list(likeness)), *owned)
        .group_by(ThingWordRow.thing_id)
        for likeness in alike
    ]
    each = union_all(*single).subquery()
    score = func.sum(each.c.likeness) / words
    query = select(each.c.thing_id, score.label("score")).group_by(each.c.thing_id)
    query = query.having(score >= _LEAST_SCORE).order_by(score.desc(), each.c.thing_id).limit(limit)
    return {row.thing_id: float(row.score) for row in connection.execute(query)}


def _likeness(likeness: Mapping[str, float]) -> Any:
    """Return the likeness of a row's word, as an SQL expression."""
    return cast(case(dict(likeness), value=ThingWordRow.word, else_=0.0), Float)


def _things(connection: Connection, thing_ids: Mapping[str, float]) -> dict[str, StoredThing]:
    query = select(*ThingRow.__table__.columns).where(ThingRow.id.in_(list(thing_ids)))
    return {row.id: thing_of(row) for row in connection.execute(query)}


def _words(request: ThingRequest) -> Iterator[tuple[str, float]]:
    """Yield the words by which a thing is found, with their weights."""
    for word in words_of(request.name):
        yield word, _NAME
    texts = list(request.tags)
    if isinstance(request.shape, Standard):
        texts += [request.shape.entry.name, request.shape.entry.category, request.shape.id]
    for text in texts:
        for word in words_of(text):
            yield word, _OTHER
