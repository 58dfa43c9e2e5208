"""A spec whose plan takes minutes on any machine of today."""


def endless():
    """Return a spec of many things, to be searched for as far as one can ask."""
    items = [
        {
            "name": f"thing {number}",
            "shape": {"kind": "box", "size": [20 + number % 7 * 9, 12 + number % 5 * 8, 8 + number % 3 * 6]},
            "count": 3 + number % 4,
        }
        for number in range(40)
    ]
    drawers = [{"name": f"drawer {number}", "width": 500, "depth": 450, "height": 80} for number in range(12)]
    return {
        "spec": "1",
        "name": "endless",
        "layout": {"effort": "thorough"},
        "drawers": [{**drawer, "items": items} for drawer in drawers],
        "printer": {"bed": [220, 220, 220]},
    }
