"""Why a photo is refused: the reasons that programs compare, with what a person can do about each."""

from typing import Final, Literal, TypeAlias

from worker.silhouettes.errors import PhotoRefused

__all__ = ["Reason", "refusal"]

Reason: TypeAlias = Literal[
    "not-a-photo",
    "photo-too-large",
    "photo-too-small",
    "too-few-markers",
    "sheet-cut-off",
    "thing-across-border",
    "blurred",
    "sheet-curled",
    "too-tilted",
    "camera-too-low",
    "wrong-print-scale",
    "wrong-sheet",
    "low-contrast",
    "several-things",
    "thing-moved",
    "photo-count",
    "thickness",
]

_TEXTS: Final[dict[Reason, tuple[str, str]]] = {
    "not-a-photo": (
        "This is not a photo that can be read.",
        "Send the photo as JPEG, PNG, WebP or HEIC, as the camera made it.",
    ),
    "photo-too-large": ("The photo has too many pixels.", "Send it in the camera's normal resolution."),
    "photo-too-small": ("The photo has too few pixels.", "Send the original photo, not a preview or a crop."),
    "too-few-markers": (
        "The squares of the reference sheet are not seen.",
        "Photograph the whole sheet from above, in even light, as large as it fits the picture.",
    ),
    "sheet-cut-off": (
        "Part of the ring of squares lies outside the picture.",
        "Step back or centre the sheet, so that all squares are in the picture.",
    ),
    "thing-across-border": (
        "Something covers the squares or the border of the coloured field.",
        "Lay the thing wholly on the coloured field, and clear the sheet of everything else.",
    ),
    "blurred": (
        "The photo is blurred.",
        "Hold the phone still or lean it on something, clean the lens, tap on the thing to focus, and add light.",
    ),
    "sheet-curled": (
        "The sheet is not flat.",
        "Lay it on something firm and tape its edges down; use another print if it is creased.",
    ),
    "too-tilted": ("The photo was taken at a slant.", "Hold the phone level, right above the thing."),
    "camera-too-low": (
        "The camera was too close to the thing.",
        "Photograph from 600 mm or more above the sheet, with the 2x lens if there is one.",
    ),
    "wrong-print-scale": (
        "The sheet was not printed at its true size.",
        "Print it again at 100 %, without scaling or fitting to the page, and measure the bar.",
    ),
    "wrong-sheet": (
        "The sheet in the photo is another one than was said.",
        "Give the size and tint of the sheet that you used, or leave them out.",
    ),
    "low-contrast": (
        "The thing cannot be told from the coloured field.",
        "Use the sheet with the other tint, and more even light.",
    ),
    "several-things": (
        "There is more than one thing on the sheet, or the thing is seen in parts.",
        "Photograph one thing at a time. If there is only one, use the sheet with the other tint.",
    ),
    "thing-moved": (
        "The two photos do not show the thing in the same place on the sheet.",
        "Leave the thing and the sheet as they lie, and move only the camera.",
    ),
    "photo-count": ("There are too few or too many photos.", "Send one photo, or two from opposite sides."),
    "thickness": (
        "The thickness is not possible.",
        "Give the height of the thing as it lies, measured with a calliper or a ruler.",
    ),
}


def refusal(reason: Reason, value: object = None, limit: str | None = None) -> PhotoRefused:
    """Return the error for a reason.

    Args:
        reason: the cause.
        value: the figure that was measured.
        limit: what it is allowed to be.
    """
    message, remedy = _TEXTS[reason]
    return PhotoRefused(message, reason=reason, value=value, limit=limit, remedy=remedy)
