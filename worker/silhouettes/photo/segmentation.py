"""The thing apart from the tinted field, in a rectified photo.

The field's colour is modelled over the sheet, so that lamps and windows may light it unevenly. A pixel is the thing's
when its chroma differs from the field's, or when it is darker than any shadow; where sides of the thing may be seen,
less is enough. Then pixels near the border become mixtures of the colours beside it, in linear light: the outline is
where half of a pixel is the thing's.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from math import ceil
from typing import Final, TypeAlias

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from worker.silhouettes.photo.rectify import Rectified
from worker.silhouettes.photo.refusals import refusal

__all__ = ["Segment", "segment"]

Mask: TypeAlias = NDArray[np.uint8]
Plane: TypeAlias = NDArray[np.float32]

#: Difference of logarithmic chroma from the field's that makes a pixel the thing's. Towards grey less is enough, as
#: lamps of different colours change the field's hue, not how strong it is; in the dark noise does, so there both are
#: the same. Set on path-traced photos of six things.
_CHROMA: Final = 0.35
_PALER: Final = 0.25
_PALER_DIM: Final = 0.35
_DIM: Final = (-1.5, -2.8)
#: Logarithm of luminance by the field's under which nothing is a shadow.
_DARK: Final = -3.2
#: The same where a side of the thing may be seen, by its thickness and the camera's place.
_SIDE_PALER: Final = 0.13
_SIDE_DARK: Final = -1.7
_SIDE_PALER_DIM: Final = 0.3
#: Share of the thing's own difference that a pixel in a shadow needs, most of it as a multiple of `_CHROMA`, and the
#: luminance in and out of shadow.
_TINTED: Final = 0.4
_MOST_TINTED: Final = 2.0
_SHADED: Final = (-0.4, -0.8)
#: Largest area that may be a black thing's side as well as a shadow, as a share of the thing's.
_MOST_EITHER: Final = 0.04
#: Smoothing before the thresholds of sides, mm.
_CALM: Final = 0.25
#: Linear light that is added before logarithms, so that noise in black stays small.
_FLOOR: Final = 0.002
#: Side of a cell of the coarse grid on which the field's colour is fitted, mm.
_CELL: Final = 3.0
#: Gaps up to twice the first close, specks and threads up to twice the second vanish, mm.
_CLOSE: Final = 0.5
_OPEN: Final = 0.6
#: Smoothing before the thresholds, mm.
_SMOOTH: Final = 0.12
#: Half the width of the band in which pixels are mixtures, distance from the border at which nothing is mixed, and
#: distance over which colours beside it are averaged, mm.
_BAND: Final = 0.45
_APART: Final = 0.4
_BESIDE: Final = 1.2
#: How much the field's luminance varies beside the thing (shadows), and noise, as shares of the field's light.
_SHADOW_SIGMA: Final = 0.15
_NOISE_SIGMA: Final = 0.08
#: The outline is traced on a grid this many times finer.
_FINER: Final = 4
#: Contrast under which a pixel keeps what the thresholds say of it.
_LEAST_CONTRAST: Final = 1e-3
#: Most heights at which sides are looked for.
_MOST_STEPS: Final = 48
#: Fewest corners of a ring.
_CORNERS: Final = 4
#: Share of a pixel that the outline runs at.
_HALF: Final = 0.5
#: The number that marks what is outside while gaps are filled.
_OUTSIDE: Final = 2
#: Least area of a thing and of a hole, mm2; a second thing is an error from this share of the first one's area.
_LEAST_AREA: Final = 20.0
_LEAST_HOLE: Final = 3.0
_SECOND: Final = 0.05
#: A hole in a thing as dark as this, as a logarithm by the field, is as dark only if it is none.
_HOLE_DARK: Final = -1.6
#: Points closer than this to a line between their neighbours are left out, mm.
_SIMPLIFY: Final = 0.03
#: A border stretch whose contrast is less than the first counts as weak; this share of them is too much.
_WEAK: Final = 0.22
_WEAK_DARK: Final = -1.0
_MOST_WEAK: Final = 0.2
#: Difference of logarithmic chroma along the border by that of grey from which a thing is coloured.
_VIVID: Final = 1.15
#: Distance from the field's edge that a thing must keep, mm.
_CLEAR: Final = 0.6


@dataclass(frozen=True, slots=True)
class Segment:
    """The thing in a photo.

    Attributes:
        outline: what of the sheet it hides, as the camera sees it, mm in the sheet's frame.
        weak: share of its border along which it hardly differs from the field.
        vivid: whether it differs more in colour than grey does, so that its sides cannot be taken for the field.
    """

    outline: shapely.Polygon
    weak: float
    vivid: bool


def segment(view: Rectified, nadir: NDArray[np.float64], share: float) -> Segment:
    """Return the thing on the field, of which ``view`` shows all.

    Args:
        view: the field.
        nadir: `(2,)`, the point of the sheet below the camera, mm.
        share: thickness of the thing by the camera's height.

    Raises:
        PhotoRefused: for low contrast, for several things, and for one that lies across the border.
    """
    relative, saturation = _by_the_field(view)
    sides = partial(_sides, view=view, nadir=nadir, share=share)
    mask = _thing(_thresholds(relative, saturation, view.per_mm, sides), relative, view.per_mm)
    alpha, weak, chroma = _mixture(relative, mask, view.per_mm)
    if weak > _MOST_WEAK:
        raise refusal("low-contrast", value=round(weak, 3), limit=f"weak along at most {_MOST_WEAK:g} of the outline")
    return Segment(_outline(view, alpha), weak, chroma > _VIVID * float(np.linalg.norm(saturation)))


def _by_the_field(view: Rectified) -> tuple[Plane, NDArray[np.float64]]:
    """Return the light by that of the field at the same place, 1 where there is nothing, and the field's chroma."""
    rows, columns = view.light.shape[:2]
    size = (max(round(columns / view.per_mm / _CELL), 8), max(round(rows / view.per_mm / _CELL), 8))
    coarse = np.log(cv2.resize(view.light, size, interpolation=cv2.INTER_AREA).astype(np.float64) + _FLOOR)
    x, y = np.meshgrid(np.linspace(-1, 1, size[0]), np.linspace(-1, 1, size[1]))
    cubic = np.stack([x**i * y**j for i in range(4) for j in range(4 - i)], axis=-1).reshape(-1, 10)
    values = coarse.reshape(-1, 3)
    # the field's rim is free of the thing mostly: its median tells which cells are like the field
    rim = np.zeros(size[::-1], dtype=bool)
    rim[[0, 1, -2, -1], :] = rim[:, [0, 1, -2, -1]] = True
    chroma = values - values.mean(axis=1, keepdims=True)
    distance = np.linalg.norm(chroma - np.median(chroma[rim.ravel()], axis=0), axis=1)
    weights = (distance < _CHROMA).astype(np.float64)
    weights *= values.mean(axis=1) > np.median(values[rim.ravel()].mean(axis=1)) + _SIDE_DARK
    if weights.sum() < 0.1 * len(weights):
        raise refusal("low-contrast")
    model = np.zeros_like(values)
    for _ in range(8):
        weighted = cubic.T * weights
        # of the 10 normal equations, not of thousands of cells: 0.02 s instead of 0.18
        factors = np.linalg.lstsq(weighted @ cubic, weighted @ values, rcond=None)[0]
        model = cubic @ factors
        off = values - model
        chroma = off - off.mean(axis=1, keepdims=True)
        # shadows are far off in luminance and little in chroma
        far = np.linalg.norm(chroma, axis=1) / (0.5 * _CHROMA)
        dim = np.abs(off.mean(axis=1)) / 0.3
        weights = np.where((far < 1) & (dim < 1), (1 - far**2) ** 2 * (1 - dim**2) ** 2, 0.0)
        if weights.sum() < 0.02 * len(weights):
            weights = np.where(far < 1, 1.0, 0.0)
    field = np.exp(model.reshape(*coarse.shape)).astype(np.float32)
    relative: Plane = (view.light + np.float32(_FLOOR)) / cv2.resize(field, (columns, rows))
    middle = np.median(model, axis=0)
    return relative, middle - middle.mean()


def _thresholds(relative: Plane, saturation: NDArray[np.float64], per_mm: float, sides: Callable[[Mask], Mask]) -> Mask:
    """Return the pixels that are the thing's by themselves, 0 or 1.

    Args:
        relative: the light by that of the field.
        saturation: `(3,)`: logarithmic chroma of the field, that is by how much it differs from grey.
        per_mm: pixels a mm.
        sides: says where sides of a mask can be seen.
    """
    logs = np.log(np.maximum(cv2.GaussianBlur(relative, (0, 0), max(_SMOOTH * per_mm, 0.4)), 1e-4))
    luminance = logs.mean(axis=2)
    chroma = logs - luminance[..., None]
    paler = -(chroma @ (saturation / np.linalg.norm(saturation)).astype(np.float32))
    across = np.square(chroma).sum(axis=2) - np.square(paler)
    limit = np.interp(luminance, _DIM[::-1], (_PALER_DIM, _PALER)).astype(np.float32)
    limit = np.where(paler > 0.0, limit, np.float32(_CHROMA))
    different = cv2.medianBlur(np.square(paler / limit) + across / np.float32(_CHROMA**2), 5)
    plain = different > 1.0
    if plain.any():
        # light that a coloured thing throws into its shadow tints the field there
        vivid = float(np.sqrt(np.median(np.square(chroma[plain]).sum(axis=1))))
        tinted = float(np.clip(_TINTED * vivid / _CHROMA, 1.0, _MOST_TINTED))
        plain &= different > np.square(np.interp(luminance, _SHADED[::-1], (tinted, 1.0)))
    strong = _cleaned((plain | (luminance < _DARK)).astype(np.uint8), per_mm)
    zone = sides(strong)
    calm = cv2.GaussianBlur(paler, (0, 0), _CALM * per_mm)
    weak = calm > np.interp(luminance, _DIM[::-1], (_SIDE_PALER_DIM, _SIDE_PALER))
    dim = luminance < _SIDE_DARK
    if not strong.any() or not _is_hard(luminance, (strong | zone) > 0, per_mm):
        weak |= dim
    elif float(np.median(logs.max(axis=2)[strong > 0])) < _SIDE_DARK:
        # black sides are as dark as the shadow, and the photo does not tell them apart
        either = float((dim & ~weak & (zone > strong)).sum() / (strong > 0).sum())
        if either > _MOST_EITHER:
            raise refusal("low-contrast", value=round(either, 3), limit=f"at most {_MOST_EITHER:g} side or shadow")
    return _cleaned(strong | (zone & weak.astype(np.uint8)), per_mm)


def _is_hard(luminance: Plane, thing: NDArray[np.bool_], per_mm: float) -> bool:
    """Return whether a shadow lies on the field that is as dark as a black thing's side, past where sides can be."""
    apart = cv2.dilate(thing.astype(np.uint8), _disc(_CLOSE * per_mm)) == 0
    return float((apart & (luminance < _SIDE_DARK)).sum()) / per_mm**2 > _LEAST_AREA


def _cleaned(mask: Mask, per_mm: float) -> Mask:
    """Return a mask without gaps, specks and threads."""
    # nothing beyond the field counts while gaps are closed
    edge = round(2 * _CLOSE * per_mm)
    mask = cv2.copyMakeBorder(mask, edge, edge, edge, edge, cv2.BORDER_CONSTANT, value=0)
    mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, _disc(_CLOSE * per_mm))
    opened: Mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, _disc(_OPEN * per_mm))
    return opened[edge:-edge, edge:-edge]


def _sides(mask: Mask, view: Rectified, nadir: NDArray[np.float64], share: float) -> Mask:
    """Return where sides below the edge of a mask can be seen: at any height they are nearer to the nadir."""
    centre = view.to_pixels(nadir[None])[0]
    corners = np.array([[0, 0], [mask.shape[1], 0], [0, mask.shape[0]], mask.shape[::-1]])
    reach = float(np.linalg.norm(corners - centre, axis=1).max()) * share
    steps = min(max(ceil(reach / (_CLOSE * view.per_mm)), 1), _MOST_STEPS)
    zone = np.zeros_like(mask)
    for step in range(1, steps + 1):
        factor = 1.0 - share * step / steps
        matrix = np.array([[factor, 0.0, (1 - factor) * centre[0]], [0.0, factor, (1 - factor) * centre[1]]])
        zone |= cv2.warpAffine(mask, matrix, mask.shape[::-1], flags=cv2.INTER_NEAREST)
    return zone


def _thing(mask: Mask, relative: Plane, per_mm: float) -> Mask:
    """Return the largest thing of a mask, with its true holes and without the false ones that reflections make."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    areas = stats[1:, cv2.CC_STAT_AREA] / per_mm**2
    largest = float(areas.max()) if count > 1 else 0.0
    if largest < _LEAST_AREA:
        raise refusal("low-contrast", value=round(largest, 1), limit=f"at least {_LEAST_AREA:g} mm2")
    edge = max(1, round(_CLEAR * per_mm))
    rim = np.ones_like(mask)
    rim[edge:-edge, edge:-edge] = 0
    touching = np.unique(labels[(rim > 0) & (labels > 0)])
    if any(areas[label - 1] > max(_LEAST_AREA, _SECOND * largest) for label in touching):
        raise refusal("thing-across-border")
    large = int((areas > max(_LEAST_AREA / 2.0, _SECOND * largest)).sum())
    if large > 1:
        raise refusal("several-things", value=large, limit="1")
    thing: Mask = (labels == int(areas.argmax()) + 1).astype(np.uint8)
    # all that cannot be reached from outside is the thing or a hole in it
    padded = cv2.copyMakeBorder(thing, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    cv2.floodFill(padded, None, (0, 0), _OUTSIDE)
    gaps = (padded[1:-1, 1:-1] == 0).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(gaps, connectivity=4)
    luminance = np.log(np.maximum(relative.mean(axis=2), 1e-4))
    dark = float(np.median(luminance[thing > 0])) < _HOLE_DARK
    for label in range(1, count):
        inside = labels == label
        small = stats[label, cv2.CC_STAT_AREA] / per_mm**2 < _LEAST_HOLE
        if small or (dark and float(np.median(luminance[inside])) < _HOLE_DARK):
            thing[inside] = 1
    return thing


def _mixture(relative: Plane, thing: Mask, per_mm: float) -> tuple[Plane, float, float]:
    """Return which share of each pixel is the thing's, the share of its border that is hardly seen, and its chroma.

    The share is the linear discriminant between the colours beside the border, in which a change of the field's
    luminance, a shadow, counts little: what counts of a coloured thing is its chroma, and of a black one its darkness.
    """
    apart = _disc(_APART * per_mm)
    inner, outer = cv2.erode(thing, apart), 1 - cv2.dilate(thing, apart)
    own = _beside(relative, inner, thing, per_mm)
    field = _beside(relative, outer, 1 - thing, per_mm)
    difference = own - field
    length = np.sqrt(np.square(field).sum(axis=2, keepdims=True))
    along = field / np.maximum(length, 1e-6)
    share = _SHADOW_SIGMA**2 * length**2
    share = share / (share + _NOISE_SIGMA**2)
    weighted = difference - share * along * (difference * along).sum(axis=2, keepdims=True)
    contrast = (difference * weighted).sum(axis=2)
    alpha = ((relative - field) * weighted).sum(axis=2) / np.maximum(contrast, 1e-6)
    reach = _disc(_BAND * per_mm)
    band = cv2.dilate(thing, reach) - cv2.erode(thing, reach)
    alpha = np.where((band > 0) & (contrast > _LEAST_CONTRAST), np.clip(alpha, 0.0, 1.0), thing)
    border = (thing - cv2.erode(thing, _disc(1.0))) > 0
    logs = np.log(np.maximum(own[border], 1e-3)) - np.log(np.maximum(field[border], 1e-3))
    luminance = logs.mean(axis=1)
    chroma = np.linalg.norm(logs - luminance[:, None], axis=1)
    weak = float(np.mean((chroma < _WEAK) & (luminance > _WEAK_DARK)))
    return alpha.astype(np.float32), weak, float(np.median(chroma))


def _beside(relative: Plane, mask: Mask, fallback: Mask, per_mm: float) -> Plane:
    """Return the mean colour near each pixel over a mask; where it has nothing near, over the wider ``fallback``."""
    total = np.zeros_like(relative)
    weight = np.zeros(relative.shape[:2], dtype=np.float32)
    for part, factor in ((mask, 1.0), (fallback, 1e-3)):
        plane = factor * part.astype(np.float32)
        total += cv2.GaussianBlur(relative * plane[..., None], (0, 0), 0.5 * _BESIDE * per_mm)
        weight += cv2.GaussianBlur(plane, (0, 0), 0.5 * _BESIDE * per_mm)
    return (total / np.maximum(weight, 1e-9)[..., None]).astype(np.float32)


def _outline(view: Rectified, alpha: Plane) -> shapely.Polygon:
    """Return the line along which half of a pixel is the thing's, mm."""
    finer = cv2.resize(alpha, None, fx=_FINER, fy=_FINER, interpolation=cv2.INTER_CUBIC)
    contours, tree = cv2.findContours((finer > _HALF).astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    rings = [view.to_sheet((each.reshape(-1, 2) + 0.5) / _FINER - 0.5) for each in contours]
    polygons = [
        shapely.Polygon(
            ring,
            [rings[hole] for hole in range(len(rings)) if tree[0, hole, 3] == index and len(rings[hole]) >= _CORNERS],
        )
        for index, ring in enumerate(rings)
        if tree[0, index, 3] < 0 and len(ring) >= _CORNERS
    ]
    largest = max(polygons, key=lambda polygon: polygon.area)
    # the contour runs through the middles of the outermost pixels of the finer grid
    grown = largest.buffer(0.5 / _FINER / view.per_mm, join_style="mitre").simplify(_SIMPLIFY)
    whole = max(shapely.get_parts(shapely.make_valid(grown)), key=lambda part: part.area)
    return shapely.Polygon(
        whole.exterior, [hole for hole in whole.interiors if shapely.Polygon(hole).area > _LEAST_HOLE]
    )


def _disc(radius: float) -> Mask:
    size = 2 * max(1, round(radius)) + 1
    disc: Mask = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    return disc
