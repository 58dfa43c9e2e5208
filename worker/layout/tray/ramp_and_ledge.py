"""The finger ramp along a tray's front and the label ledge along its back."""

from typing import Final

from worker.layout.model.shapes import InnerRamp, Ledge, Ramp, Wall
from worker.layout.tray.dividers import spans
from worker.layout.tray.interior import LEAST_SPACE, LETTER_DEPTH, Room, on_grid
from worker.spec.drawer.tray import NO_RAMP, FingerRamp, Tray
from worker.spec.tolerances import LENGTH_EPSILON

#: Default radius of a ramp in mm: the curve of a fingertip (12 mm is the diameter of the jointed test finger of
#: IEC 61032; from memory), and its largest ratio to the inner height.
_RADIUS: Final = 12.0
_RADIUS_SHARE: Final = 0.4
_LEAST_RADIUS: Final = 2.0

#: A compartment narrower and deeper than this (mm) has a ramp by default: a hand does not get in, and small things lie
#: out of sight (own choice). It is this much longer than the ramp, so that fingers find room on the floor before it.
NARROW: Final = 40.0
DEEP: Final = 35.0
_BEHIND_RAMP: Final = 20.0

#: Length in mm by which the ramp's last facet extends up the wall beyond its radius.
_RUN_UP: Final = 1.2

#: Thickness of the label ledge's front edge in mm: the label rests on it, and it prints as three lines (own choice).
LEDGE_EDGE: Final = 1.2

#: Largest ratio of the ledge's depth to that of the interior.
_LEDGE_SHARE: Final = 0.5


def tray_ledge(room: Room, walls: tuple[Wall, ...]) -> Ledge | None:
    """Return the label ledge.

    Raises:
        TrayError: if the tray is not deep or high enough for it, or a divider stands under it.
    """
    spec, text = room.tray.label_ledge, room.tray.text
    if spec is None:
        return None
    most = on_grid(room.inner[1] * _LEDGE_SHARE)
    if spec.depth > most:
        raise room.refusal(
            "its label ledge is too deep.", "label_ledge", "depth",
            value=spec.depth, limit=f"at most {most:g} mm, half the inner depth", remedy="Make the ledge less deep.",
        )  # fmt: skip
    raised = text is not None and text.face == "ledge" and text.style == "raised"
    # raised letters must end below the rim too
    top = on_grid(room.ceiling - (LETTER_DEPTH if raised else 0.0))
    needed = spec.drop + LEDGE_EDGE + spec.depth + LEAST_SPACE
    missing = on_grid(room.floor_top + needed - top)
    if missing > 0.0:
        raise room.refusal(
            "it is too low for its label ledge.", "label_ledge",
            value=room.tray.height, limit=f"at least {on_grid(room.tray.height + missing):g} mm",
            remedy="Make the tray higher, or the ledge less deep or its drop smaller.",
        )  # fmt: skip
    edge = room.outer[1] - room.wall - spec.depth
    behind = spans(room, walls, "y")[-1][0]
    if behind > edge - LEAST_SPACE + LENGTH_EPSILON and behind > room.wall:
        raise room.refusal(
            "a divider stands under its label ledge.", "label_ledge", "depth",
            value=spec.depth, limit=f"at most {on_grid(spec.depth + edge - LEAST_SPACE - behind):g} mm",
            remedy="Move the last divider forwards, or make the ledge less deep.",
        )  # fmt: skip
    return Ledge(spec.depth, top, spec.drop)


def tray_ramp(room: Room, walls: tuple[Wall, ...], ledge: Ledge | None) -> Ramp | None:
    """Return the finger ramp: as the spec has it, or where compartments are narrow and deep.

    Raises:
        TrayError: if it is higher than the wall or a divider before it, or deeper than a compartment that has it.
    """
    spec = room.tray.finger_ramp
    if spec is None:
        return _default_ramp(room, walls, ledge)
    if spec.rows == "none":
        return None
    inner = _inner_ramps(room, walls) if spec.rows == "all" else ()
    most = _most_radius(room, walls, ledge, inner)
    if most < _LEAST_RADIUS or (spec.radius is not None and spec.radius > most + LENGTH_EPSILON):
        limit = f"{_LEAST_RADIUS:g} to {most:g} mm" if most >= _LEAST_RADIUS else "no room for one"
        raise room.refusal(
            "its finger ramp does not fit.", "finger_ramp", "radius",
            value=spec.radius, limit=limit,
            remedy="Make the radius smaller, the tray higher or its front compartment deeper.",
        )  # fmt: skip
    if spec.radius is not None:
        return Ramp(spec.radius, inner)
    return Ramp(on_grid(max(min(_RADIUS, _RADIUS_SHARE * room.height, most), _LEAST_RADIUS)), inner)


def ramp_as_made(tray: Tray, ramp: Ramp | None) -> FingerRamp:
    """Return what the spec of a tray with this ramp says about it, where the tray's own leaves it open."""
    if tray.finger_ramp is not None:
        return tray.finger_ramp
    return NO_RAMP if ramp is None else FingerRamp(radius=ramp.radius, rows="all" if ramp.inner else "front")


def _default_ramp(room: Room, walls: tuple[Wall, ...], ledge: Ledge | None) -> Ramp | None:
    """Return the ramp of a tray whose spec has no word on it."""
    if room.height <= DEEP or room.tray.pockets or room.tray.filling is not None or room.tray.grip:
        return None
    columns, rows = spans(room, walls, "x"), _rows(room, walls, ledge)
    narrow = min(end - start for start, end in columns) < NARROW
    need = [narrow or end - start < NARROW for start, end in rows]
    inner = _inner_ramps(room, walls) if any(need[1:]) else ()
    radius = on_grid(min(_RADIUS, _RADIUS_SHARE * room.height))
    fits = radius <= min(_most_radius(room, walls, ledge, inner), *(end - start - _BEHIND_RAMP for start, end in rows))
    return Ramp(radius, inner) if any(need) and fits else None


def _rows(room: Room, walls: tuple[Wall, ...], ledge: Ledge | None) -> tuple[tuple[float, float], ...]:
    """Return where each row of compartments begins and ends, the last one before the label ledge."""
    *before, (start, end) = spans(room, walls, "y")
    return (*before, (start, on_grid(end - (0.0 if ledge is None else ledge.depth))))


def _inner_ramps(room: Room, walls: tuple[Wall, ...]) -> tuple[InnerRamp, ...]:
    """Return the ramps behind dividers that run left to right, as long as these are."""
    return tuple(
        InnerRamp(
            on_grid(wall.at + wall.thickness / 2.0), *(wall.span or (room.wall, on_grid(room.outer[0] - room.wall)))
        )
        for wall in walls
        if wall.axis == "y"
    )


def _most_radius(room: Room, walls: tuple[Wall, ...], ledge: Ledge | None, inner: tuple[InnerRamp, ...]) -> float:
    """Return the largest radius for which ramps are lower than what they lean on and shorter than their rows."""
    rows = _rows(room, walls, ledge)
    tops = [wall.top for wall in walls if inner and wall.axis == "y"]
    lengths = [end - start for start, end in (rows if inner else rows[:1])]
    return on_grid(min(min(room.wall_top, room.ceiling, *tops) - room.floor_top - _RUN_UP, min(lengths) - LEAST_SPACE))
