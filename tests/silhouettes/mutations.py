"""Mutated files: valid ones with bytes changed, removed, repeated and exchanged, as a transfer or an attacker may."""

import io
import random
from pathlib import Path

import ezdxf
from trimesh import creation

#: Files that once made a reader crash, hang or raise something else than a refusal.
CORPUS = Path(__file__).parent / "corpus"

_PIECES = (
    b"1e308", b"-1", b"nan", b"inf", b"0", b"99999999999", b"<g>", b"</g>", b"\x00", b"\xff\xff\xff\xff", b"%s", b"\n",
    b"A0 0 0 0 0 0 0", b"Z", b'transform="scale(1e200)"', b"INSERT", b"SPLINE", b"EOF", b"SECTION",
)  # fmt: skip


def _svg():
    return (
        b'<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40"><g id="cut" '
        b'transform="rotate(5)"><path d="M5 5h50v30c0 5 -9 5 -9 0h-41z M10 10q5 0 5 5a3 3 0 0 1 -5 0z" stroke="#f00"/>'
        b'<rect id="r" x="20" y="10" width="8" height="5" rx="2"/><use href="#r" x="10"/></g></svg>'
    )


def _dxf():
    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 4
    block = document.blocks.new("PLATE")
    block.add_lwpolyline([(0, 0, 0), (40, 0, 0.5), (40, 20, 0), (0, 20, 0)], format="xyb", close=True)
    space = document.modelspace()
    space.add_blockref("PLATE", (5, 5))
    space.add_spline([(10, 10), (15, 15), (20, 10)])
    space.add_ellipse((20, 15), (4, 0), 0.5)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def _mesh(kind):
    content = creation.cylinder(8, 20, sections=12).export(file_type=kind)
    return content if isinstance(content, bytes) else content.encode()


def originals():
    """Return a valid file for each format, by its name."""
    return {"svg": _svg(), "dxf": _dxf(), **{kind: _mesh(kind) for kind in ("stl", "3mf", "obj")}}


def mutated(content, number):
    """Return the mutation of a file with this number: one to six changes."""
    chance = random.Random(number)
    data = bytearray(content)
    for _ in range(chance.randint(1, 6)):
        at = chance.randrange(len(data) or 1)
        length = min(chance.choice((1, 2, 8, 64, 512)), len(data) - at)
        match chance.randrange(5):
            case 0:
                data[at : at + length] = chance.randbytes(length)
            case 1:
                del data[at : at + length]
            case 2:
                data[at:at] = data[at : at + length] * chance.choice((1, 3, 40))
            case 3:
                data[at : at + chance.choice((0, length))] = chance.choice(_PIECES)
            case _:
                other = chance.randrange(len(data) or 1)
                data[at : at + length] = data[other : other + length]
    return bytes(data)
