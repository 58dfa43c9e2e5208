"""What a caller says: the contract's models, units and limits."""

from worker.spec.drawer import Align, Drawer, Obstacle
from worker.spec.grid import Grid
from worker.spec.job import Spec
from worker.spec.joint import Joint
from worker.spec.length import LengthBounds, parse_length
from worker.spec.loading import load, loads
from worker.spec.material import DENSITIES, Material
from worker.spec.pocket import CirclePocket, Notch, Pocket, PolygonPocket, RectanglePocket
from worker.spec.printer import Forbidden, Printer
from worker.spec.tray import Divider, FingerRamp, LabelShelf, Magnets, Text, Tray

__all__ = [
    "DENSITIES",
    "Align",
    "CirclePocket",
    "Divider",
    "Drawer",
    "FingerRamp",
    "Forbidden",
    "Grid",
    "Joint",
    "LabelShelf",
    "LengthBounds",
    "Magnets",
    "Material",
    "Notch",
    "Obstacle",
    "Pocket",
    "PolygonPocket",
    "Printer",
    "RectanglePocket",
    "Spec",
    "Text",
    "Tray",
    "load",
    "loads",
    "parse_length",
]
