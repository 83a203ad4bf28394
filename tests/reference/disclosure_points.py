"""What the sample points tell: grid cells with too few fields behind them, and cells that come or go between two times of issue.

Who is behind a cell is worked out from the rows' members and the places of their fields.
"""

import json
import math
from collections import Counter, defaultdict

EARTH_KM = 6371.0088  # mean radius, IUGG


def cell_of(lon, lat, grid_km):
    """Row and column of the grid: rows of equal height from the equator, each cut into columns about as wide."""
    height = math.degrees(grid_km / EARTH_KM)
    row = math.floor(lat / height)
    middle = max(-90.0, min(90.0, (row + 0.5) * height))
    columns = max(1, round(360 * math.cos(math.radians(middle)) / height))
    return row, min(columns - 1, math.floor((lon + 180) / 360 * columns))


def points(season):
    """Cells by how many fields of public rows are in them, per week, and what is new or gone since the time before."""
    found, before = Counter(), {}
    for time, ledger in zip(season.times, season.ledgers):
        path = season.folder / "public" / time / "sample_points.geojson"
        if not path.exists():
            continue
        public = defaultdict(set)
        for feature in json.loads(path.read_text())["features"]:
            properties = feature["properties"]
            lon, lat = feature["geometry"]["coordinates"]
            place = cell_of(lon, lat, properties["grid_km"])
            public[properties["iso_week"], properties["protocol"]].add((place, properties["grid_km"]))
        now = {}
        for key, cells in public.items():
            fields = [field for row in ledger.rows.get(key, {}).values() for field in row.editions[-1].values()]
            for cell, grid_km in cells:
                inside = [field for field in fields if cell_of(field.lon, field.lat, grid_km) == cell]
                found["cells"] += 1
                found["cells too small"] += not is_cell_of_farms(inside, season)
            now[key] = {cell for cell, _ in cells}, {field.field_id: field for field in fields}
            old_cells, old_fields = before.get(key, (set(), {}))
            if old_cells and old_cells != now[key][0]:
                found["changes"] += 1
                grid_km = next(iter(cells))[1]
                for cell in old_cells ^ now[key][0]:
                    moved = [
                        field for name, field in {**old_fields, **now[key][1]}.items()
                        if (name in old_fields) != (name in now[key][1]) and cell_of(field.lon, field.lat, grid_km) == cell
                    ]
                    found["cells that came or went"] += 1
                    found["of these by one field"] += len(moved) == 1
        before = now
    return dict(found)


def is_cell_of_farms(fields, season):
    """As many fields and farms as the least of a cell; that one farm dominates a piece of land is no secret of its counts."""
    settings = season.settings
    if not season.known:
        return len(fields) >= settings.min_fields_without_farms
    farms = {field.farm for field in fields} - {None}
    return len(fields) >= settings.min_fields and len(farms) >= settings.min_farms
