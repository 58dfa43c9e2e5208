"""What a caller says: the contract's models, units and limits."""

from worker.spec.catalogue import CatalogueEntry, catalogue, lookup
from worker.spec.drawer import Align, Drawer, Obstacle
from worker.spec.grid import Grid
from worker.spec.item import Item, ItemShape, Standard
from worker.spec.job import Spec
from worker.spec.joint import Joint
from worker.spec.length import LengthBounds, parse_length
from worker.spec.loading import load, loads
from worker.spec.material import DENSITIES, Material
from worker.spec.pocket import CirclePocket, Notch, Pocket, PolygonPocket, RectanglePocket
from worker.spec.printer import Forbidden, Printer
from worker.spec.printing import Calibration, KindPrinting, Printing, ProcessNumbers
from worker.spec.schedule import Schedule, SchedulePrinter, Window
from worker.spec.shape import Box, Cylinder, Prism, Screw
from worker.spec.tray import Divider, FingerRamp, LabelShelf, Magnets, Text, Tray

__all__ = [
    "DENSITIES",
    "Align",
    "Box",
    "Calibration",
    "CatalogueEntry",
    "CirclePocket",
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
    "LabelShelf",
    "LengthBounds",
    "Magnets",
    "Material",
    "Notch",
    "Obstacle",
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
    "Text",
    "Tray",
    "Window",
    "catalogue",
    "load",
    "loads",
    "lookup",
    "parse_length",
]
