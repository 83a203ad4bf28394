"""What the sample points tell: grid cells with too few fields behind them, and cells that come or go between two times of issue.

Who is behind a grid cell is worked out from the rows' members and the places of their fields: each row has a list of its own.
"""

import json
import math
from collections import Counter, defaultdict

from disclosure_rule import is_cell

EARTH_KM = 6371.0088  # mean radius, IUGG
WIDEST_KM = 40


def cell_of(lon, lat, grid_km):
    """Row and column of the grid. A row of 40 km is cut into columns about as wide; all narrower grids are halves of that."""
    height = math.degrees(WIDEST_KM / EARTH_KM)
    row = math.floor(lat / height)
    columns = max(1, round(360 * math.cos(math.radians((row + 0.5) * height)) / height)) * round(WIDEST_KM / grid_km)
    narrow = math.floor(lat / math.degrees(grid_km / EARTH_KM))
    return narrow, math.floor((lon + 180) / 360 * columns)


def of_rows(ledger, key, grid_km, season):
    """The fields of the week's rows by grid cell, and the cells that some row may show."""
    fields, shown = defaultdict(dict), set()
    for row in ledger.rows.get(key, {}).values():
        own = defaultdict(list)
        # A second edition keeps the cells of the first.
        for field in row.editions[0].values():
            own[cell_of(field.lon, field.lat, grid_km)].append(field)
        for cell, members in own.items():
            fields[cell].update({field.field_id: field for field in members})
            if is_cell(members, season.known, season.settings):
                shown.add(cell)
    return fields, shown


def read(path):
    """Grid cells by week and protocol, and how wide they are."""
    public, grid_km = defaultdict(set), None
    for feature in json.loads(path.read_text())["features"]:
        properties = feature["properties"]
        grid_km = properties["grid_km"]
        public[properties["iso_week"], properties["protocol"]].add(cell_of(*feature["geometry"]["coordinates"], grid_km))
    return public, grid_km


def points(season):
    """Counts over all times: cells, those that no row may show or that lack, and cells that came or went since the time before."""
    found, before = Counter(), {}
    for time, ledger in zip(season.times, season.ledgers):
        path = season.folder / "public" / time / "sample_points.geojson"
        if not path.exists():
            continue
        public, grid_km = read(path)
        for key in {*public, *ledger.rows} if grid_km else ():
            fields, shown = of_rows(ledger, key, grid_km, season)
            found["cells"] += len(public[key])
            found["cells too small"] += len(public[key] - shown)
            found["cells that lack"] += len(shown - public[key])
            if key in before:
                old_cells, old = before[key]
                for cell in public[key] ^ old_cells:
                    found["cells that came or went"] += 1
                    found["of these by one field"] += len({*fields[cell]} ^ {*old[cell]}) == 1
            before[key] = public[key], fields
    return dict(found)
