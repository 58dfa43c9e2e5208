"""The contract: models of requests and results, with units, limits and errors."""

from worker.spec.drawer.drawer import Align, Drawer, Obstacle
from worker.spec.drawer.grid import Grid
from worker.spec.drawer.joint import Joint
from worker.spec.drawer.panel import Panel
from worker.spec.drawer.pocket import CirclePocket, NestedPocket, Notch, Pocket, PolygonPocket, RectanglePocket
from worker.spec.drawer.tray import Divider, FingerRamp, LabelLedge, Magnets, Text, Tray
from worker.spec.items.catalogue import CatalogueEntry, catalogue, lookup
from worker.spec.items.item import Item, ItemShape, Standard
from worker.spec.items.made_up_shape import Bundle, Coil, Tapered
from worker.spec.items.shape import Box, Cylinder, Prism, Screw
from worker.spec.job import Spec
from worker.spec.primitives.length import LengthBounds, parse_length
from worker.spec.printer.material import DENSITIES, Material
from worker.spec.printer.printer import Forbidden, NamedPrinter, Printer
from worker.spec.printer.printing import Calibration, KindPrinting, LayerProcess, Printing, ProcessNumbers
from worker.spec.printer.schedule import LoadedSpool, Schedule, SchedulePrinter, Window
from worker.spec.reading.loader import load, loads

__all__ = [
    "DENSITIES",
    "Align",
    "Box",
    "Bundle",
    "Calibration",
    "CatalogueEntry",
    "CirclePocket",
    "Coil",
    "Cylinder",
    "Divider",
    "Drawer",
    "FingerRamp",
    "Forbidden",
    "Grid",
    "Item",
    "ItemShape",
    "Joint",
    "KindPrinting",
    "LabelLedge",
    "LayerProcess",
    "LengthBounds",
    "LoadedSpool",
    "Magnets",
    "Material",
    "NamedPrinter",
    "NestedPocket",
    "Notch",
    "Obstacle",
    "Panel",
    "Pocket",
    "PolygonPocket",
    "Printer",
    "Printing",
    "Prism",
    "ProcessNumbers",
    "RectanglePocket",
    "Schedule",
    "SchedulePrinter",
    "Screw",
    "Spec",
    "Standard",
    "Tapered",
    "Text",
    "Tray",
    "Window",
    "catalogue",
    "load",
    "loads",
    "lookup",
    "parse_length",
]
