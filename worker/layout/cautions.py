"""Cautions: the safety lines that follow from what a caller asked for.

They say what is usually known and defer to those who know the machine, the material and the place: the makers'
instructions and the local rules.
"""

import re
from collections.abc import Iterator
from typing import Final

from worker.layout.plan import Caution
from worker.spec import Drawer, Spec

#: Long-term service temperatures without load in degrees Celsius (common practice; for TPU where it softens).
SERVICE: Final = {"PLA": 50, "PETG": 65, "ABS": 85, "ASA": 85, "TPU": 60}

#: Plastics that give off styrene when they are printed (common practice).
_STYRENIC: Final = frozenset({"ABS", "ASA"})

#: From these sizes on a loaded drawer is a real weight far in front of its cabinet.
_TALL: Final = 150.0
_WIDE: Final = 600.0
_DEEP: Final = 500.0

_BLADES: Final = r"blades?|kni(?:fe|ves)|razors?|scalpels?|scissors|shears|chisels?|cutters?|needles?|gouges?"
_CELLS: Final = r"batter(?:y|ies)|coin cells?|button cells?|accumulators?"
_FOOD: Final = r"cutlery|forks?|spoons?|spices?|food|tea|coffee|baking|kitchen"

_PRINTING: Final = (
    "A printer has hot and moving parts. Do not leave it running unattended, keep flammable things away from it, and "
    "follow its maker's instructions and the local rules; they come before anything said here."
)
_FUMES: Final = (
    "Melting plastic gives off fumes and fine particles. Print in a well-ventilated room that nobody sleeps in, and "
    "follow the filament maker's safety data sheet."
)
_STYRENE: Final = (
    "{name} gives off styrene and more particles than most filaments when it melts. Print it in an enclosure that is "
    "vented or filtered, and follow the filament maker's safety data sheet."
)
_EDGES: Final = "Fresh prints may have sharp edges and strings. Remove them before use, with eyes protected."
_SMALL: Final = "This job has small loose parts. Keep them away from small children, who could choke on them."
_MAGNETS: Final = (
    "Magnets that are swallowed can cause grave injury; seek medical help at once. Glue each one in, test that it "
    "holds, keep loose magnets away from children, and away from pacemakers and other implants."
)
_TIPPING: Final = (
    "A large drawer that is full and pulled out can tip its cabinet over. Fix the cabinet to the wall as its maker "
    "says, put heavy things low, and keep to the load that the drawer's runners are made for."
)
_EDGED: Final = (
    "Sharp tools: put them in with the edge down or covered. A tray does not hold a tool fast when the drawer is "
    "pulled hard, and is no lock against children."
)
_LOOSE: Final = (
    "Loose batteries can short on metal and on each other. Keep their ends apart or covered, and keep button cells out "
    "of children's reach: swallowed, they burn within hours; seek medical help at once."
)
_EATING: Final = (
    "The grooves between printed layers are hard to clean. Do not take a tray as safe for direct contact with food "
    "unless the filament's maker says so; a washable liner helps."
)


def cautions(spec: Spec) -> tuple[Caution, ...]:
    """Return the cautions of a job, in a fixed order, each topic once."""
    return tuple(Caution(topic, text) for topic, text in _lines(spec))


def _lines(spec: Spec) -> Iterator[tuple[str, str]]:
    material = spec.material.name.strip().upper()
    yield "printing", _PRINTING
    yield "fumes", _STYRENE.format(name=spec.material.name) if material in _STYRENIC else _FUMES
    yield "edges", _EDGES
    yield "heat", _heat(spec.material.name, SERVICE.get(material))
    trays = [tray for _, _, tray in spec.trays()]
    if spec.coupon or spec.grid.seam == "key":
        yield "small parts", _SMALL
    if any(tray.magnets is not None for tray in trays):
        yield "magnets", _MAGNETS
    if any(_large(drawer) for drawer in spec.drawers):
        yield "tipping", _TIPPING
    words = " ".join(
        [spec.name, *(drawer.name for drawer in spec.drawers), *(tray.name for tray in trays)]
        + [tray.text.text for tray in trays if tray.text is not None]
    ).lower()
    for topic, pattern, text in (("blades", _BLADES, _EDGED), ("batteries", _CELLS, _LOOSE), ("food", _FOOD, _EATING)):
        if re.search(rf"\b(?:{pattern})\b", words):
            yield topic, text


def _heat(name: str, service: int | None) -> str:
    """Return the caution on heat, with the usual figure where one is known."""
    figure = (
        f"{name} softens under heat; about {service} C over a long time is usual as its limit (common practice)."
        if service is not None
        else f"{name} softens under heat; its data sheet says from when on."
    )
    return f"{figure} Keep the parts away from ovens, heaters, dishwashers and cars in the sun."


def _large(drawer: Drawer) -> bool:
    """Return whether a drawer is tall or large enough to tip its cabinet when it is full."""
    left, front, right, back = drawer.box
    return drawer.height >= _TALL or right - left >= _WIDE or back - front >= _DEEP
