"""An oracle for few small pieces: every place of every piece on whole units is tried, in every run."""

from itertools import product


def fewest_runs(sizes, beds, limit=None):
    """Return the fewest beds that hold rectangles ``(width, depth, hours)`` of whole numbers, turned or not.

    ``beds`` are the clear cells ``(x, y)`` of one bed. It shares nothing with the packer: a piece is a set of cells.
    """
    sizes = sorted(sizes, key=lambda size: -size[0] * size[1])
    return next(runs for runs in range(1, len(sizes) + 1) if _packs(sizes, [(frozenset(beds), 0)] * runs, limit))


def _packs(sizes, beds, limit):
    if not sizes:
        return True
    (width, depth, hours), *rest = sizes
    tried = set()
    for index, (free, used) in enumerate(beds):
        if (free, used) in tried or (limit is not None and used + hours > limit):
            continue
        tried.add((free, used))
        for across, along in {(width, depth), (depth, width)}:
            for x, y in free:
                cells = frozenset(product(range(x, x + across), range(y, y + along)))
                if cells <= free and _packs(
                    rest, [*beds[:index], (free - cells, used + hours), *beds[index + 1 :]], limit
                ):
                    return True
    return False
