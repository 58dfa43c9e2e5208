"""Cautions: safety notices that apply to what a spec asks for.

They state common knowledge and defer to the manufacturers' instructions and local rules.
"""

import re
from collections.abc import Iterable, Iterator
from typing import Final

from worker.layout.model.plan import Caution
from worker.spec import Drawer, Item, Schedule, Spec, Standard, Window
from worker.spec.printer.schedule import DAYS

#: Long-term service temperatures without load, in degrees Celsius (common practice; for TPU, where it softens).
SERVICE: Final = {"PLA": 50, "PETG": 65, "ABS": 85, "ASA": 85, "TPU": 60}

#: Plastics that emit styrene when printed (common practice).
_STYRENIC: Final = frozenset({"ABS", "ASA"})

#: Minutes in a day.
_DAY: Final = 1440

#: Sizes in mm from which a loaded drawer, pulled out, can tip its cabinet.
_TALL: Final = 150.0
_WIDE: Final = 600.0
_DEEP: Final = 500.0

#: Load of one drawer in grams from which it counts as heavy: light runners bear 10 to 15 kg (from memory).
_HEAVY: Final = 10_000.0

#: Ratio of height to width from which a tray tips over easily.
_SLENDER: Final = 2.0

#: Height in mm from which a panel counts as high: things lean on it well above its feet (own choice).
_HIGH_PANEL: Final = 80.0

_BLADES: Final = r"blades?|kni(?:fe|ves)|razors?|scalpels?|scissors|shears|chisels?|cutters?|needles?|gouges?"
_CELLS: Final = r"batter(?:y|ies)|coin cells?|button cells?|accumulators?"
_HOT: Final = (
    r"ovens?|stoves?|hobs?|cookers?|heaters?|radiators?|boilers?|dishwashers?|saunas?|attics?|lofts?|cars?|vans?|"
    r"caravans?|campers?|greenhouses?"
)
_FOOD: Final = r"cutlery|forks?|spoons?|spices?|food|tea|coffee|baking|kitchen"

_PRINTING: Final = (
    "A printer has hot and moving parts. Do not leave it running unattended, keep flammable things away from it, and "
    "follow its maker's instructions and the local rules; these take precedence over this notice."
)
_UNATTENDED: Final = (
    "The schedule allows printing while nobody is present. A fault can start a fire that nobody notices. Do so only "
    "if the printer's maker, the local rules and whoever owns and insures the place allow it, with a working smoke "
    "alarm and nothing flammable near; otherwise give `printing` the same hours as `attended`."
)
_FUMES: Final = (
    "Melting plastic gives off fumes and fine particles. Print in a well-ventilated room that nobody sleeps in, and "
    "follow the filament maker's safety data sheet."
)
_STYRENE: Final = (
    "{name}: gives off styrene and more particles than most filaments when it melts. Print it in an enclosure that is "
    "vented or filtered, and follow the filament maker's safety data sheet."
)
_CHANGES: Final = (
    "Each change of filament flushes plastic that is thrown away; the runs say how much. What comes out is hot: let it "
    "cool, and keep hands, hair and sleeves away from the nozzle. Dispose of it by the local rules and never burn it. "
    "Use two filaments of one kind, or try first whether they bond."
)
_PAUSED: Final = (
    " At a pause the nozzle stays hot and the printer waits: be there at the height that the run's sheet gives, and do "
    "not push the bed or the part."
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
_TALL_TRAYS: Final = (
    "Tall narrow trays tip over when the drawer is pulled hard. Put heavy things low and at the back, and give such "
    "trays neighbours that hold them up."
)
_PANELS: Final = (
    "Panels only divide: they bear no load and are no handle. Heavy or tall things that lean on a high panel push it "
    "over when the drawer is pulled hard; put them against the drawer's sides, and keep to the pushes that the "
    "manifest states."
)
_HOT_PLACE: Final = (
    "The names in this job speak of a place that may get hot. Measure how hot before you choose a filament, leave room "
    "below the limit that its maker's data sheet gives, and do not put parts on or beside what heats."
)
_EDGED: Final = (
    "Sharp tools: put them in with the edge down or covered. A tray does not hold a tool fast when the drawer is "
    "pulled hard, and is no lock against children."
)
_LOOSE: Final = (
    "Loose batteries can short on metal and on each other. Keep their ends apart or covered, and keep button cells out "
    "of children's reach: swallowed, they burn within hours; seek medical help at once."
)
_CLEARANCES: Final = (
    "Printers differ, and the coupon shows the clearance of the one that prints it. Print the coupon's file on each "
    "printer that takes part, and use the largest clearance that they show."
)
_EATING: Final = (
    "The grooves between printed layers are hard to clean. Do not take a tray as safe for direct contact with food "
    "unless the filament's maker says so; a washable liner helps."
)


def cautions(spec: Spec, highest_panel: float = 0.0) -> tuple[Caution, ...]:
    """Return the cautions of a job in a fixed order, one per topic.

    Args:
        spec: the job.
        highest_panel: height of the highest panel of its drawers, mm; 0 without panels.
    """
    lines = (*_of_printing(spec), *_of_parts(spec, highest_panel), *_of_names(spec))
    return tuple(Caution(topic, text) for topic, text in lines)


def _of_printing(spec: Spec) -> Iterator[tuple[str, str]]:
    names = tuple(dict.fromkeys(spec.material_of(kind).name.strip() for kind in ("tile", "tray")))
    styrenic = [name for name in names if name.upper() in _STYRENIC]
    yield "printing", _PRINTING
    if spec.calendar is not None and _unattended(spec.calendar):
        yield "unattended hours", _UNATTENDED
    yield "fumes", _STYRENE.format(name=" and ".join(styrenic)) if styrenic else _FUMES
    if spec.printing.lettering is not None:
        yield "filament changes", _CHANGES + ("" if spec.printer.tool_changes else _PAUSED)
    if spec.coupon and len(spec.printers) > 1:
        yield "clearance", _CLEARANCES
    yield "edges", _EDGES
    yield "heat", _heat(names)


def _of_parts(spec: Spec, highest_panel: float) -> Iterator[tuple[str, str]]:
    trays = [tray for _, _, tray in spec.trays()]
    if spec.coupon or spec.grid.seam == "key":
        yield "small parts", _SMALL
    if any(tray.magnets is not None for tray in trays):
        yield "magnets", _MAGNETS
    if any(_large(drawer) for drawer in spec.drawers) or _heavy(spec):
        yield "tipping", _TIPPING
    if any(tray.height >= _SLENDER * min(tray.cells) * spec.grid.pitch for tray in trays):
        yield "tall trays", _TALL_TRAYS
    if highest_panel >= _HIGH_PANEL:
        yield "panels", _PANELS


def _of_names(spec: Spec) -> Iterator[tuple[str, str]]:
    """Yield the cautions on what the names of a job speak of."""
    trays = [tray for _, _, tray in spec.trays()]
    items = [*spec.items, *(item for drawer in spec.drawers for item in drawer.items)]
    words = " ".join(
        [spec.name, *(drawer.name for drawer in spec.drawers), *(tray.name for tray in trays)]
        + [tray.text.text for tray in trays if tray.text is not None]
        + [word for item in items for word in _words(item)]
    ).lower()
    if re.search(rf"\b(?:{_HOT})\b", words):
        yield "hot place", _HOT_PLACE
    for topic, pattern, text in (("blades", _BLADES, _EDGED), ("batteries", _CELLS, _LOOSE), ("food", _FOOD, _EATING)):
        if re.search(rf"\b(?:{pattern})\b", words):
            yield topic, text


def _words(item: Item) -> Iterator[str]:
    """Yield the texts that describe an item."""
    yield item.name
    yield from filter(None, (item.group, item.label_text))
    if isinstance(item.shape, Standard):
        yield item.shape.entry.name
        yield item.shape.entry.category


def _unattended(schedule: Schedule) -> bool:
    """Return whether a printer may print while nobody is present."""
    for printer in schedule.printers:
        attended = schedule.attended if printer.attended is None else printer.attended
        printing = schedule.printing if printer.printing is None else printer.printing
        if attended and not _minutes(printing) <= _minutes(attended):
            return True
    return False


def _minutes(windows: Iterable[Window]) -> set[int]:
    """Return the minutes of the week, from Monday 00:00, that the windows cover; all of them without windows."""
    minutes: set[int] = set()
    for window in windows:
        start, end = (60 * int(clock[:2]) + int(clock[3:]) for clock in (window.start, window.end))
        span = range(start, end if end > start else end + _DAY)
        minutes.update((_DAY * DAYS.index(day) + minute) % (7 * _DAY) for day in window.days for minute in span)
    return minutes or set(range(7 * _DAY))


def _heavy(spec: Spec) -> bool:
    """Return whether the given masses make a drawer heavy; items of the job are averaged over its drawers."""
    shared = _mass(spec.items) / sum(drawer.copies for drawer in spec.drawers)
    return any(shared + _mass(drawer.items) >= _HEAVY for drawer in spec.drawers)


def _mass(items: Iterable[Item]) -> float:
    return sum(item.count * (item.mass or 0.0) for item in items)


def _heat(names: Iterable[str]) -> str:
    """Return the caution on heat, with typical temperatures where known."""
    figures = [
        f"{name} softens under heat; its usual long-term limit is about {service} C (common practice)."
        if service is not None
        else f"{name} softens under heat; see its data sheet for the temperature limit."
        for name in names
        for service in (SERVICE.get(name.upper()),)
    ]
    return f"{' '.join(figures)} Keep the parts away from ovens, heaters, dishwashers and cars in the sun."


def _large(drawer: Drawer) -> bool:
    """Return whether a full drawer is tall or large enough to tip its cabinet."""
    left, front, right, back = drawer.box
    return drawer.height >= _TALL or right - left >= _WIDE or back - front >= _DEEP
