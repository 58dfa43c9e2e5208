"""Groups of tiles that hold together: by tabs and keys, or at all."""

from collections.abc import Iterable


def groups_of(count: int, pairs: Iterable[tuple[int, int]]) -> tuple[tuple[int, ...], ...]:
    """Return the groups of the numbers below ``count`` that the pairs connect, each sorted, in order."""
    group = list(range(count))

    def root(number: int) -> int:
        while group[number] != number:
            group[number] = group[group[number]]
            number = group[number]
        return number

    for first, second in pairs:
        a, b = sorted((root(first), root(second)))
        group[b] = a
    members: dict[int, list[int]] = {}
    for number in range(count):
        members.setdefault(root(number), []).append(number)
    return tuple(tuple(numbers) for numbers in members.values())


def locked_pairs(holds: Iterable[tuple[int, int, int]]) -> set[tuple[int, int]]:
    """Return the pairs that cannot slide in either sense; each hold is a pair and a sense, 1 or -1."""
    senses: dict[tuple[int, int], set[int]] = {}
    for first, second, sense in holds:
        if first < second:
            senses.setdefault((first, second), set()).add(sense)
        else:
            senses.setdefault((second, first), set()).add(-sense)
    return {pair for pair, both in senses.items() if len(both) == 2}  # noqa: PLR2004 - two senses
