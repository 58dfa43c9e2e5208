"""Specs gone wrong in every way that we could think of, the same for one seed, and a process that reads them.

``python -m tests.spec.reading.mutation read|lay COUNT SEED`` reads that many (``read``), or lays out as many that are
readable
(``lay``), in 1 GiB of address space. A crash, or an input that takes longer than it may, ends it with a traceback.
"""

import faulthandler
import json
import math
import resource
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from copy import deepcopy
from random import Random

import orjson

from api.openapi import examples
from worker.layout.model.plan_document import plan_document
from worker.layout.planner import lay_out
from worker.spec import Spec
from worker.spec.errors import DrawerwrightError, SpecError
from worker.spec.limits import cells_of, check_size
from worker.spec.reading.loader import loads

MEMORY = 1024**3
#: Seconds for one input: thousands of times what one takes, so that a slow machine is no hang.
READ_SECONDS, LAY_SECONDS = 30, 60
#: Cells of a drawer that is laid out, so that hundreds are soon done; tests/layout has the large ones.
MOST_CELLS = 200

_PRINTER = {"bed": [180, 180, 180]}
_DRAWER = {"name": "a", "width": 136, "depth": "13.6 cm", "height": "2 3/4 in"}


def _spec(**fields: object) -> dict[str, object]:
    return {"spec": "1", "name": "n", "drawers": [_DRAWER], "printer": _PRINTER, **fields}


def _item(**fields: object) -> dict[str, object]:
    return _spec(items=[{"name": "i", "count": 3, **fields}])


def _tray(**fields: object) -> dict[str, object]:
    return _spec(drawers=[{**_DRAWER, "trays": [{"name": "t", "cells": [1, 2], "height": 30, **fields}]}])


_L = [[0, 0], [200, 0], [200, 90], [95, 90], [95, 180], [0, 180]]

#: Small ones, each with something of its own, so that many are soon read.
SEEDS = [
    _spec(),
    _spec(drawers=[{**_DRAWER, "width": [136, "137 mm", 135.5], "corner_radius": 4, "gap": 0.5, "copies": 2}]),
    _spec(drawers=[{**_DRAWER, "obstacles": [{"at": [0, 0], "size": ["30 mm", 12]}], "fill": True}]),
    _spec(drawers=[{"name": "a", "outline": _L, "height": 60}]),
    _tray(at=[0, 0.5], rim="straight", wall=1.6, floor=1.0, finger_ramp=True, magnets={"diameter": 8, "depth": 3}),
    _tray(dividers=[{"axis": "y", "at": 40}], label_ledge={"depth": 14, "drop": 4}, text={"text": "AB"}),
    _tray(pockets=[{"shape": "circle", "at": [20, 20], "diameter": 12, "depth": 8, "notch": {"width": 20}}]),
    _tray(pockets=[{"shape": "polygon", "points": [[8, 10], [30, 10], [9, 40]], "depth": 6}], compartments=[1, 1]),
    _item(shape={"kind": "standard", "id": "battery-aa"}, storage="upright", access="often"),
    _item(shape={"kind": "standard", "id": "bolt-cap-m4", "length": "16 mm"}, group="M4", mass=0.8, label=True),
    _item(shape={"kind": "box", "size": [60, "1 in", 20]}, near="i", stack=False, at=[0, 0]),
    _item(shape={"kind": "cylinder", "diameter": 10, "length": 45}, access="rarely", storage="rows"),
    _item(shape={"kind": "polygon", "points": [[0, 0], [60, 0], [60, 15], [15, 40]], "height": 9}, storage="pocket"),
    _item(shape={"kind": "box", "size": [50, 20, 9]}, storage="pocket", engraved=True, group="g"),
    _spec(grid={"pitch": 42, "half_cells": True, "joint": [[1.8, 0], [1.8, 1], [1.2, 1.6], [1.2, 3]], "seam": "key"}),
    _spec(printer={**_PRINTER, "margin": 1, "forbidden": [{"at": [150, 155], "size": [30, 25]}]}, strict=True),
    _spec(
        material={"name": "PETG", "density": 1.27, "cost_per_kg": 24, "colour": "#2E5E4E", "left": [180]},
        printing={"tile": {"layer": 0.25}, "process": {"walls": 3}, "max_run_hours": 4, "compare": [0.15],
            "layer_processes": [{"layer": 0.15, "outer_speed": 120}]},
        schedule={"timezone": "Europe/Lisbon", "printing": [{"days": ["mon"], "start": "08:00", "end": "23:00"}]},
    ),
    _spec(previous={"name": "n", "drawers": [], "parts": [], "spec": {}}),
]  # fmt: skip

_RAW = [
    b"", b" ", b"\x00", b"\xff\xfe{}", b"\xef\xbb\xbf{}", b"[" * 100_000, b'{"a":' * 40, b"1" * 5_000, b"-", b"1e99999",
    b'{"spec":"1","spec":"1"}', b'"\\ud800"', b'"' + b"\\" * 999, b"NaN", b"[Infinity,-Infinity]", b"null", b"true",
    b'"' + b"a" * 30_000 + b'"', b"[" + b"0," * 5_000 + b"0]", b'{"\\u0000":1}', b"{}" * 9, b"/*a*/{}", b"[1,]",
]  # fmt: skip

_NAMES = ["__proto__", "a" * 81, "", "a/b~c", "\ud800", "spec", "shape", "kind", "points", "previous", "at", "near"]

_LEAVES = [
    None, True, False, 0, 1, -1, -0.0, 0.1, 1e-300, 5e-324, 1e308, math.nan, math.inf, -math.inf, 10**29, 10**400,
    2**31, 2**63, 2**64, 3000, 3000.0000001, 1000, 20, 24, 0.05, "", " ", "1", "nan", "1e5", "1/0 in", "0/1 in",
    "9" * 48, "1,000", "16¼", "5' 11 1/2\"", "\u2032\u2033", "\ud800", "\x00", "\u202e", "a\u0301" * 40, "²", "\u2460",
    "\U0001d7d9 mm", "a" * 81, "a" * 5_000, [], {}, [[]], [[0, 0]], {"": None}, "polygon", "circle", "box", "pocket",
    "standard", "loose", "key", "#FFFFFF", "2026-02-30", "24:00", "Europe/Nowhere", "../../etc/passwd", "-0", "+1",
    "\u0661\u0662",
]  # fmt: skip


def polygon(random: Random) -> list[list[float]]:
    """Return a polygon of a kind that geometry dislikes."""
    size = random.choice([1.0, 30.0, 90.0, 200.0, 400.0])
    many = random.choice([3, 4, 5, 8, 16, 60])
    made = random.choice([_round, _star, _twice_round, _cloud, _stairs, _comb, _spiral])(random, size, many)
    _spoil(random, made)
    return [[along if not along < 0.0 else 0.0 for along in point] for point in made]


def _turning(size: float, many: int, turns: float = 1.0, grow: float = 0.0) -> list[list[float]]:
    steps = [turns * math.tau * k / many for k in range(many)]
    radii = [size / 2.0 * (1.0 - grow * k / many) for k in range(many)]
    return [[size / 2 + r * math.cos(a), size / 2 + r * math.sin(a)] for a, r in zip(steps, radii, strict=True)]


def _round(_random: Random, size: float, many: int) -> list[list[float]]:
    return _turning(size, many)


def _star(_random: Random, size: float, many: int) -> list[list[float]]:
    return _turning(size, many, grow=0.5)


def _twice_round(_random: Random, size: float, many: int) -> list[list[float]]:
    return _turning(size, many, turns=2.0)


def _cloud(random: Random, size: float, many: int) -> list[list[float]]:
    return [[random.uniform(0, size), random.uniform(0, size)] for _ in range(many)]


def _stairs(_random: Random, size: float, many: int) -> list[list[float]]:
    return [
        *([size * (k + half) / many, size * k / many + 20] for k in range(many) for half in (0, 1)),
        [size, 0],
        [0, 0],
    ]


def _comb(_random: Random, size: float, many: int) -> list[list[float]]:
    tooth = size / (2 * many)
    up = [[tooth * (k + 1), size if (k // 2) % 2 else size / 3] for k in range(2 * many)]
    return [[0, 0], *up, [size + tooth, 0]]


def _spiral(_random: Random, size: float, many: int) -> list[list[float]]:
    outer = _turning(size, many, turns=3.0, grow=0.8)
    return outer + [[0.9 * x + 0.05 * size, 0.9 * y + 0.05 * size] for x, y in reversed(outer)]


def _spoil(random: Random, made: list[list[float]]) -> None:
    """Make it worse: repeated, collinear, all but equal, extreme or missing points, another winding, flat."""
    at = random.randrange(len(made))
    how = random.randrange(9)
    if how == 0:
        made.insert(at, list(made[at]))
    elif how == 1:
        made.insert(at, [(a + b) / 2 for a, b in zip(made[at], made[at - 1], strict=True)])
    elif how == 2:
        made.insert(at, [made[at][0] + random.choice([1e-12, 1e-9, 1e-6, 1e-3, 3e-3]), made[at][1]])
    elif how == 3:
        made[at] = random.choice([[0, 0], [3000, 3000], [1e-9, 3000], [0, 1e308], [math.nan, 0], [0], []])
    elif how == 4:
        made[:] = [[float(round(x)), float(round(y))] for x, y in made]
    elif how == 5:
        made.reverse()
    elif how == 6:
        flat = random.choice([1e-6, 1.0, 7.0])
        made[:] = [[y, x * flat] for x, y in made]


def _places(document: object) -> Iterator[tuple[dict[str, object] | list[object], str | int]]:
    """Yield each place of a document as what holds it and its name or index there."""
    waiting = [document]
    while waiting:
        here = waiting.pop()
        pairs = here.items() if isinstance(here, dict) else enumerate(here) if isinstance(here, list) else ()
        for name, value in pairs:
            yield here, name
            waiting.append(value)


def _leaf(random: Random, old: object) -> object:
    if isinstance(old, int | float) and not isinstance(old, bool) and abs(old) < 1e300 and random.random() < 0.6:
        near = [
            old * 2,
            old / 3,
            -old,
            old + 1,
            old + 1e-9,
            old * 10,
            str(old),
            f"{old} mm",
            f"{old}in",
            [old],
            old * 1e6,
        ]
        return random.choice(near)
    return deepcopy(random.choice(_LEAVES))


def change(random: Random, document: dict[str, object]) -> None:
    """Change one place of a document."""
    places = list(_places(document))
    holder, name = random.choice(places)
    old = holder[name]
    how = random.randrange(11)
    if how < 4:
        holder[name] = _leaf(random, old)
    elif how == 4:
        del holder[name]
    elif how == 5 and isinstance(holder, dict):
        holder[random.choice(_NAMES)] = holder.pop(name) if random.random() < 0.5 else old
    elif how == 6 and isinstance(holder, list):
        holder.extend(deepcopy(old) for _ in range(random.choice([1, 1, 2, 2, 20, 20, 600])))
    elif how == 7:
        other, there = random.choice(places)
        if not isinstance(old, dict | list) and not isinstance(other[there], dict | list):
            holder[name], other[there] = other[there], old
        else:
            holder[name] = deepcopy(other[there])
    elif how == 8:
        for _ in range(random.choice([1, 5, 31, 40])):
            old = [old] if random.random() < 0.5 else {"at": old}
        holder[name] = old
    elif how == 9 and isinstance(old, str):
        holder[name] = old * random.choice([2, 50]) + random.choice(["", "\u0000", "\u2028", "é"])
    else:
        outlines = [(place, key) for place, key in places if key in ("points", "outline", "joint", "obstacles")]
        where, key = random.choice(outlines or [(holder, name)])
        where[key] = polygon(random)


def changed(random: Random, most: int = 3) -> dict[str, object]:
    """Return a seed that was changed in some places."""
    document = deepcopy(random.choice(SEEDS))
    for _ in range(random.randint(1, most)):
        change(random, document)
        if not document:
            break
    return document


def _written(document: object, random: Random) -> bytes:
    return json.dumps(document, ensure_ascii=random.random() < 0.5).encode("utf-8", "surrogatepass")


def _bytes_changed(random: Random, text: bytes) -> bytes:
    """Return a document after some of its bytes were changed."""
    data = bytearray(text)
    for _ in range(random.choice([1, 1, 2, 8])):
        at, end = sorted((random.randrange(len(data) + 1), random.randrange(len(data) + 1)))
        end = min(end, at + 40)
        how = random.randrange(5)
        if how == 0 and at < len(data):
            data[at] ^= 1 << random.randrange(8)
        elif how == 1:
            data[at:at] = random.choice(
                [b'"', b"{", b"}", b"[", b"]", b",", b":", b"\\", b"\x00", b"\xff", b"9", b"e", b"-"]
            )
        elif how == 2:
            del data[at:end]
        elif how == 3:
            data[at:at] = data[at:end] * random.choice([1, 2, 30])
        else:
            del data[at : None if random.random() < 0.2 else at + 1]
    return bytes(data)


def inputs(seed: int) -> Iterator[bytes]:
    """Yield documents without end, the same for the same seed."""
    random = Random(seed)
    yield from _RAW
    small = [json.dumps(seed).encode() for seed in SEEDS]
    large = [examples.text(name) for name in examples.names()]
    while True:
        if random.random() < 0.7:
            yield _bytes_changed(random, random.choice(large if random.random() < 0.05 else small))
        elif random.random() < 0.02:
            yield bytes(random.choices(b'{}[]",:0123456789.eE+-truefalsn\\u \n\x80\xff', k=random.randrange(400)))
        else:
            yield _written(changed(random), random)


def _tell(refused: DrawerwrightError) -> None:
    """Write the problem as the service does; fails for one that is not the caller's."""
    assert isinstance(refused, SpecError), refused
    orjson.dumps(refused.problem("/problems/", "/v1/jobs"))


def read(text: bytes) -> Spec | None:
    """Read a document as the service does; None when it was refused in good order."""
    try:
        spec = loads(text)
        check_size(spec)
    except DrawerwrightError as refused:
        _tell(refused)
        return None
    assert Spec.model_validate_json(spec.to_json()) == spec
    return spec


def lay(spec: Spec) -> str:
    """Lay a spec out as the service does; return what came of it."""
    try:
        plan_document(lay_out(spec)).model_dump_json()
    except DrawerwrightError as refused:
        _tell(refused)
        return refused.slug
    return "laid out"


def _small(spec: Spec) -> bool:
    return sum(drawer.copies * cells_of(drawer, spec.grid.pitch) for drawer in spec.drawers) <= MOST_CELLS


def _watched(seconds: float, work: Callable[[], str]) -> str:
    faulthandler.dump_traceback_later(seconds, exit=True)
    try:
        return work()
    finally:
        faulthandler.cancel_dump_traceback_later()


def _peak() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def main() -> None:
    """Run, and print as JSON what came of the inputs."""
    task, count, seed = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    ended: Counter[str] = Counter()
    source = (
        inputs(seed)
        if task == "read"
        else (json.dumps(changed(Random(f"{seed} {k}"), 2)).encode() for k in range(10**9))
    )
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    text = b""
    try:
        while ended.total() < count:
            batch = [next(source) for _ in range(200 if task == "read" else 1)]
            for text in batch if task == "lay" else ():
                spec = read(text)
                if spec is not None and _small(spec):
                    ended[_watched(LAY_SECONDS, lambda spec=spec: lay(spec))] += 1
            if task == "read":
                faulthandler.dump_traceback_later(READ_SECONDS, exit=True)
                for text in batch:
                    ended["read" if read(text) is not None else "refused"] += 1
                faulthandler.cancel_dump_traceback_later()
    except BaseException:
        sys.stderr.write(f"The input was {text[:5000]!r}\n")
        raise
    print(json.dumps({**ended, "peak": _peak()}))  # noqa: T201 - for the test that started it


if __name__ == "__main__":
    main()
