"""What the scripts of both engines share: the bounds of the protocol bsm-eggs, and the region's edges.

The bounds are those of pipeline/protocols/bsm-eggs.toml and of a new workspace's season.
"""

import json

HA_OF_ACRE = 0.40468564224
KG_OF_LB = 0.45359237
COST = (0.5, 120.0)
MARKET = (0.01, 4.0)
PLANTS = (1500.0, 200000.0)
AREA = (0.1, 4000.0)
SEASON = ("06-01", "09-30")
CROP_TYPES = ("oilseed", "confection", "bird-food", "dehull")
STAGE = r"^(VE|V([1-9]|[1-5][0-9]|60)|R[1-9]|R5\.[0-9])$"
DAY = r"^[12][0-9]{3}-[0-9]{2}-[0-9]{2}$"
INSTANT = (
    r"^[12][0-9]{3}-[0-9]{2}-[0-9]{2}T([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9]"
    r"(\.[0-9]{1,9})?(Z|[+-]([01][0-9]|2[0-3]):[0-5][0-9])$"
)


def counties(path):
    """County id and its polygons: rings of positions, by id."""
    features = json.load(open(path))["features"]
    found = {}
    for feature in features:
        geometry = feature["geometry"]
        shapes = geometry["coordinates"]
        if geometry["type"] == "Polygon":
            shapes = [shapes]
        found[feature["properties"]["county_id"]] = shapes
    return dict(sorted(found.items()))


def edges(path):
    """Every edge of every ring: county_id, x1, y1, x2, y2, and the county's box."""
    rows = []
    for county_id, shapes in counties(path).items():
        points = [point for shape in shapes for ring in shape for point in ring]
        xs, ys = [x for x, _ in points], [y for _, y in points]
        box = (min(xs), min(ys), max(xs), max(ys))
        for shape in shapes:
            for ring in shape:
                for (x1, y1), (x2, y2) in zip(ring, ring[1:]):
                    rows.append((county_id, x1, y1, x2, y2, *box))
    return rows
