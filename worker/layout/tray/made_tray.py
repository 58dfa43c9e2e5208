"""The made tray: the shape of a tray, and its pieces where it is larger than the bed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from worker.layout.model.fingerprint import fingerprint
from worker.layout.model.shapes import PieceShape, Point, TrayShape
from worker.layout.tray.grip_lips import grips_for_seams
from worker.layout.tray.interior import Room, tray_room
from worker.layout.tray.joints.jointed_tray import SplicedTray, jointed_tray
from worker.layout.tray.joints.profile import Profile
from worker.layout.tray.tray_builder import tray_shape, tray_size
from worker.spec.drawer.joint import Joint
from worker.spec.drawer.tray import NO_RAMP, Tray
from worker.spec.errors import TrayError
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["MadeTray", "TrayMaker"]


@dataclass(frozen=True, slots=True)
class MadeTray:
    """A tray as it is printed: ``shape`` is the whole tray without posts; ``jointed`` its pieces, None for one part."""

    shape: TrayShape
    jointed: SplicedTray | None = None

    @property
    def whole(self) -> TrayShape:
        """The whole tray with its posts."""
        return self.shape if self.jointed is None else self.jointed.shape

    @property
    def parts(self) -> tuple[TrayShape | PieceShape, ...]:
        """The shapes of its parts, in the order in which they are joined."""
        return (self.shape,) if self.jointed is None else self.jointed.pieces

    @property
    def fingerprints(self) -> tuple[str, ...]:
        """The fingerprints of its parts."""
        return tuple(fingerprint(shape) for shape in self.parts)


@dataclass(frozen=True, slots=True)
class TrayMaker:
    """What all trays of a job have in common; lengths in mm.

    ``beds`` are the sizes of the bed's free rectangles, in either orientation; ``joints`` says whether trays may be cut
    into pieces.
    """

    joint: Joint
    pitch: float
    line_width: float
    beds: tuple[Point, ...]
    bed: str
    joints: bool

    def made(self, tray: Tray, *, half_feet: bool, pointer: str) -> MadeTray:
        """Return a tray as it is printed.

        Args:
            tray: the tray as in the spec.
            half_feet: whether it stands on half feet.
            pointer: JSON Pointer of the tray.

        Raises:
            TrayError: if it cannot be made, or fits the bed neither whole nor in pieces.
        """
        shape = self._shape(tray, half_feet=half_feet, pointer=pointer)
        size = tray_size(shape)
        if _fits(size, self.beds):
            return MadeTray(shape)
        if not self.joints:
            raise self._refusal(tray, pointer, size, "", "Set `joints` to true, or split it into smaller trays.")
        if tray.finger_ramp is None and shape.ramp is not None:  # unasked, it would only take room from the splices
            tray = tray.model_copy(update={"finger_ramp": NO_RAMP})
            shape = self._shape(tray, half_feet=half_feet, pointer=pointer)
        if shape.wells and tray.filling is None:  # a splice needs a solid floor on both sides
            solid = tray.model_copy(update={"filling": "solid"})
            shape = self._shape(solid, half_feet=half_feet, pointer=pointer)
        room = self._room(tray, pointer)
        choices = [shape]
        if shape.grips:
            choices = [replace(shape, grips=grips) for grips in grips_for_seams(room, shape)]
        cut = [
            jointed_tray(choice, joint=self.joint, line_width=self.line_width, ceiling=room.ceiling, beds=self.beds)
            for choice in choices
        ]
        jointed = min((tray for tray in cut if tray is not None), key=lambda tray: len(tray.pieces), default=None)
        if jointed is None:
            raise self._refusal(
                tray, pointer, size, " and cannot be cut into pieces that do",
                "Leave a clear strip across it, away from dividers, pockets, texts, grips and magnets, or split it "
                "into smaller trays.",
            )  # fmt: skip
        return MadeTray(jointed.bare, jointed)

    def _shape(self, tray: Tray, *, half_feet: bool, pointer: str) -> TrayShape:
        return tray_shape(
            tray,
            joint=self.joint,
            pitch=self.pitch,
            line_width=self.line_width,
            half_feet=half_feet,
            pointer=pointer,
        )

    def _room(self, tray: Tray, pointer: str) -> Room:
        """Return the interior of a tray that is joined.

        Raises:
            TrayError: if the tray is too low to be joined.
        """
        room = tray_room(tray, joint=self.joint, pitch=self.pitch, line_width=self.line_width, pointer=pointer)
        profile = Profile.of(self.joint, self.line_width)
        least = profile.least_height(tray.height, room.ceiling, stacking=tray.rim == "stacking")
        if tray.height < least - LENGTH_EPSILON:
            raise room.refusal(
                "it does not fit the printer's bed and is too low to be joined from pieces.", "height",
                value=tray.height, limit=f"at least {least:g} mm",
                remedy="Make it higher" + (", or its rim straight." if tray.rim == "stacking" else "."),
            )  # fmt: skip
        return room

    def _refusal(
        self, tray: Tray, pointer: str, size: tuple[float, float, float], message: str, remedy: str
    ) -> TrayError:
        return TrayError(
            f"Tray {tray.name!r} does not fit the printer's bed{message}.",
            pointer=f"{pointer}/cells",
            value=[round(size[0], 3), round(size[1], 3)],
            limit=self.bed,
            remedy=remedy,
        )


def _fits(size: tuple[float, float, float], beds: Sequence[Point]) -> bool:
    return any(size[0] <= bed[0] + LENGTH_EPSILON and size[1] <= bed[1] + LENGTH_EPSILON for bed in beds)
