"""What the legend of a map says of panels: where each runs, its parts, and how they are set up."""

from collections.abc import Iterator

from worker.layout.model.plan import DrawerPlan

__all__ = ["panel_note", "panel_rows", "panel_steps"]


def panel_rows(drawer: DrawerPlan) -> Iterator[list[str]]:
    """Yield the rows of the table of panels: name, place, and the marks of strips, shoes, clips and feet."""
    places = drawer.placements
    for panel in drawer.panels:
        side, along = ("front", "left") if panel.along == "x" else ("left", "front")
        where = f"middle {panel.at:.1f} from the {side}; {panel.start:.1f} to {panel.end:.1f} from the {along}"
        marks = (
            " ".join(places[index].mark for index in indices)
            for indices in (panel.pieces, panel.shoes, panel.clips, panel.feet)
        )
        yield [panel.name, where, "; ".join(filter(None, marks))]


def panel_note(drawer: DrawerPlan) -> str:
    """Return what the slackest panel of a drawer stands.

    Raises:
        ValueError: when the drawer has no panels.
    """
    slack = min(drawer.panels, key=lambda panel: panel.push)
    return (
        f"Estimates for PLA, nothing measured: {slack.name} gives way most, by 5 mm under a push of {slack.push:.1f} N "
        f"in the middle of its longest stretch of {slack.span:.0f} mm."
    )


def panel_steps(drawer: DrawerPlan) -> Iterator[str]:
    """Yield the steps in which panels are joined and set up."""
    panels = drawer.panels
    if any(panel.splices for panel in panels):
        yield (
            "Join the strips of each panel flat on a table, marks up, in the order of the table of panels: press the "
            "tabs into their recesses until both faces are level. A drop of glue makes the panel one piece for good."
        )
    if any(panel.feet for panel in panels):
        yield (
            "Put the feet of panels into the sockets that the map shows them in, once the floor lies: panels are let "
            "down between their cheeks and stand on the walls between the sockets."
        )
    if any(panel.clips for panel in panels):
        yield "Set a clip under each splice: the panel's notch stands over the clip's base, between its cheeks."
    if any(panel.shoes for panel in panels):
        yield (
            "Push a shoe onto each end that the map shows with one, its wings outwards. Press the two shoes of a panel "
            "together and let it down between the drawer's sides: the wings hold it by friction. Where they slip, "
            "double-sided tape under the wings helps; plastic that is kept bent relaxes, so tape lasts longer."
        )
    if any(panel.crossings for panel in panels):
        yield (
            "Set up the panels from left to right first, then lower those from front to back onto them, slot over slot."
        )
