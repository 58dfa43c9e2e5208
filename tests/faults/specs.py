"""Specs for the fault suite: one that is built in no time, and one that takes a while."""

from worker.spec import load

_PRINTER = {"bed": [256, 256, 256]}


def small_body(kind):
    """Return a spec of a tile and a tray; each kind has a tray of its own height."""
    trays = [{"name": "one", "cells": [1, 1], "height": 30 + kind / 4}]
    drawer = {"name": "top", "width": 75, "depth": 75, "height": 60, "trays": trays}
    return {"spec": "1", "name": f"kind {kind}", "drawers": [drawer], "printer": _PRINTER, "coupon": False}


def small(kind=0):
    """Return it as a spec."""
    return load(small_body(kind))


def large(name, count=8):
    """Return a spec of so many trays, none of which any other name has."""
    height = 20 + sum(name.encode()) % 97 / 100
    trays = [{"name": f"tray {number}", "cells": [1, 1], "height": height + number} for number in range(count)]
    drawer = {"name": "wide", "width": 250, "depth": 250, "height": 90, "trays": trays}
    return load({"spec": "1", "name": name, "drawers": [drawer], "printer": _PRINTER, "coupon": False})
