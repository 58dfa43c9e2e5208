"""Pictures of practice drawers for the gallery: ``python -m tests.bench gallery [--effort normal] [--drawer NAME]``.

Each picture shows the search on the left and the layout by hand on the right: from above, and from the front and above.
Things are drawn as the boxes around all of a kind in a compartment, in the colour of their group.
"""

import argparse
from collections.abc import Sequence
from io import BytesIO
from math import cos, radians, sin
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from tests.bench.practice_drawers import Figures, held_out_names, laid_out, names
from worker.layout.model.plan import Plan
from worker.output.preview.raster import draw_triangles
from worker.solids import build
from worker.spec import Spec

OUT = Path(__file__).parents[2] / ".readme" / "gallery"
FONT = Path(__file__).parents[2] / "worker" / "output" / "fonts" / "DejaVuSans.ttf"
#: Drawers that are in the gallery, and the width of a picture in pixels.
SHOWN = ("camera", "chemistry", "games", "leather", "letterpress", "watercolour")
WIDE = 1280
_FINE = 2
_MARGIN = 12
_HEAD = 30

_PAPER, _TRAY, _FLOOR, _INK = (250, 249, 246), (206, 204, 198), (235, 232, 224), (40, 40, 44)
_GROUPS = (
    (217, 119, 87), (93, 138, 168), (122, 158, 101), (196, 160, 70), (150, 112, 170), (90, 165, 155), (200, 100, 130),
    (130, 130, 90), (110, 120, 200), (170, 130, 100), (80, 130, 90), (190, 190, 90), (120, 90, 90), (160, 160, 190),
)  # fmt: skip


def box(at, size):
    """Return the triangles of a box ``(12, 3, 3)``: at its least corner, of this size."""
    corner = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=float)
    faces = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    triangles = [(a, b, c) for a, b, c, _ in faces] + [(a, c, d) for a, _, c, d in faces]
    points = corner * np.array(size) + np.array(at)
    return points[np.array(triangles)]


def scene(spec: Spec, plan: Plan):
    """Return all triangles of a drawer ``(n, 3, 3)`` in mm, and their colours ``(n, 3)``."""
    (drawer,) = plan.drawers
    items = {item.name: item for item in (*spec.items, *spec.drawers[0].items)}
    uses = list(dict.fromkeys(item.group or item.tag or item.name for item in items.values()))
    parts = {part.mark: part for part in plan.parts}
    meshes = {part.mark: build(part.shape) for part in plan.parts if part.kind == "tray"}
    width, depth, _ = drawer.size
    triangles, colours = [box((0, 0, -2), (width, depth, 1.0))], [np.tile(_FLOOR, (12, 1))]
    for place in drawer.placements:
        if parts[place.mark].kind == "tray":
            mesh = meshes[place.mark]
            triangles.append(mesh.vertices[mesh.triangles] + np.array(place.at))
            colours.append(np.tile(_TRAY, (len(mesh.triangles), 1)))
    for entry in drawer.contents:
        use = items[entry.item].group or items[entry.item].tag or entry.item
        triangles.append(box(entry.at, entry.size))
        colours.append(np.tile(_GROUPS[uses.index(use) % len(_GROUPS)], (12, 1)))
    return np.concatenate(triangles), np.concatenate(colours)


def view(triangles, colours, wide: int, tilt: float) -> Image.Image:
    """Return a parallel view from the front and above, ``tilt`` degrees below the horizontal, so many pixels wide."""
    angle = radians(tilt)
    x, y, z = triangles[..., 0], triangles[..., 1], triangles[..., 2]
    seen = np.stack([x, -(y * sin(angle) + z * cos(angle)), z * sin(angle) - y * cos(angle)], axis=-1)
    scale = wide * _FINE / float(np.ptp(seen[..., 0]))
    low = seen.reshape(-1, 3).min(axis=0)
    pixels = (seen - low) * scale
    shape = int(np.ceil(pixels[..., 1].max())) + 1, wide * _FINE + 1
    sprite = draw_triangles(pixels, shape)
    edges = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    normals = edges / np.maximum(np.linalg.norm(edges, axis=1, keepdims=True), 1e-12)
    light = 0.62 + 0.38 * np.clip(np.abs(normals @ np.array([-0.35, -0.5, 0.79])), 0.0, 1.0)
    picture = np.full((*shape, 3), _PAPER, dtype=float)
    there = sprite.triangles >= 0
    which = sprite.triangles[there]
    picture[there] = colours[which] * light[which, None]
    depth = np.where(there, sprite.depths, 0.0)
    step = np.zeros(shape, dtype=bool)
    step[1:] |= np.abs(np.diff(depth, axis=0)) > 5.0 * _FINE
    step[:, 1:] |= np.abs(np.diff(depth, axis=1)) > 5.0 * _FINE
    picture[step] *= 0.72
    image = Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8))
    return image.resize((shape[1] // _FINE, shape[0] // _FINE), Image.Resampling.BOX)


def named(image: Image.Image, plan: Plan) -> Image.Image:
    """Return a view from above with the names of what lies where."""
    (drawer,) = plan.drawers
    scale = image.width / drawer.size[0]
    pen = ImageDraw.Draw(image)
    for entry in drawer.contents:
        left, width = entry.at[0] * scale, entry.size[0] * scale
        back = image.height - (entry.at[1] + entry.size[1]) * scale
        deep = entry.size[1] * scale
        turned = deep > 1.6 * width
        along, across = (deep, width) if turned else (width, deep)
        font = ImageFont.truetype(str(FONT), 10)
        text = entry.item
        while text and pen.textlength(text, font=font) > along + 8:
            text = text[:-1]
        if across < 7 or len(text) < 2:
            continue
        mark = Image.new("RGBA", (int(pen.textlength(text, font=font)) + 2, 13), (0, 0, 0, 0))
        ImageDraw.Draw(mark).text((1, 0), text, font=font, fill=(*_INK, 255))
        mark = mark.rotate(90, expand=True) if turned else mark
        image.paste(mark, (int(left + (width - mark.width) / 2), int(back + (deep - mark.height) / 2)), mark)
    return image


def picture(name: str, effort: str, layouts: Sequence[tuple[Spec, Plan, Figures]]) -> bytes:
    """Return the picture of a drawer as PNG, laid out by the search with an effort, and by hand."""
    wide = (WIDE - 3 * _MARGIN) // 2
    columns = []
    for how, (spec, plan, figures) in zip((effort, None), layouts, strict=False):
        triangles, colours = scene(spec, plan)
        title = (
            f"{name}, {'search, ' + how if how else 'by hand'}: {figures.whole} of {figures.kinds} kinds whole, "
            f"{figures.trays} trays, {figures.grams:.0f} g"
        )
        columns.append((title, named(view(triangles, colours, wide, 90.0), plan), view(triangles, colours, wide, 48.0)))
    high = max(top.height for _, top, _ in columns), max(tilted.height for _, _, tilted in columns)
    image = Image.new("RGB", (WIDE, _HEAD + sum(high) + 2 * _MARGIN), _PAPER)
    pen = ImageDraw.Draw(image)
    for number, (title, top, tilted) in enumerate(columns):
        left = _MARGIN + number * (wide + _MARGIN)
        pen.text((left, 8), title, font=ImageFont.truetype(str(FONT), 14), fill=_INK)
        image.paste(top, (left, _HEAD))
        image.paste(tilted, (left, _HEAD + high[0] + _MARGIN))
    out = BytesIO()
    image.quantize(96, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
    return out.getvalue()


def main() -> None:
    """Write the pictures."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--effort", default="normal")
    parser.add_argument("--bed", type=int, default=256)
    parser.add_argument("--drawer", choices=[*names(), *held_out_names()])
    parser.add_argument("--out", type=Path, default=OUT)
    parser.add_argument("--all", action="store_true")
    options, _ = parser.parse_known_args()
    options.out.mkdir(parents=True, exist_ok=True)
    for name in [options.drawer] if options.drawer else names() if options.all else SHOWN:
        hows = (options.effort, None) if name in names() else (options.effort,)
        layouts = [laid_out(name, options.bed, how) for how in hows]
        data = picture(name, options.effort, layouts)
        (options.out / f"{name}.png").write_bytes(data)
        print(f"{name}: {len(data) / 1000.0:.0f} kB")
