"""How many rows of which place a package of the level grid must have, from the full package of the same store.

Written from what the README says of the level and from the head of src/region/point_grid.rs; shares no code with
bractline.
"""

import collections
import math

import pandas

EARTH_KM = 6371.0088
WIDTHS = (5, 10, 20, 40)
WIDEST = WIDTHS[-1]


def height(km):
    """Degrees from south to north of a cell."""
    return math.degrees(km / EARTH_KM)


def cell_of(lon, lat, km):
    """Row and column of a point's cell: the columns of its 40-km row are cut into 40 / km each."""
    row = math.floor(lat / height(WIDEST))
    middle = max(-90.0, min(90.0, (row + 0.5) * height(WIDEST)))
    columns = max(1, round(360 * math.cos(math.radians(middle)) / height(WIDEST))) * WIDEST // int(km)
    return f"{math.floor(lat / height(km))}.{math.floor((lon + 180) / 360 * columns) % columns}"


def is_enough(fields, least):
    """As many fields, and farms where farms are given, as a county-week needs."""
    given = [field["farm_id"] for field in fields if not pandas.isna(field["farm_id"])]
    farms = len(set(given)) + len(fields) - len(given)
    return len(fields) >= least["minFields"] and (not given or farms >= least["minFarms"])


def told(fields, least):
    """Yields (cell, width, number of fields); an empty cell is the county alone."""
    rest, large = fields, []
    for km in (float(width) for width in WIDTHS if width >= least["pointGridKm"]):
        cells = collections.defaultdict(list)
        for field in rest:
            cells[cell_of(field["lon"], field["lat"], km)].append(field)
        rest = []
        for label in sorted(cells):
            if is_enough(cells[label], least):
                large.append((label, km, cells[label]))
            else:
                rest += cells[label]
    large.sort(key=lambda cell: -len(cell[2]))
    while rest and not is_enough(rest, least) and large:
        rest = rest + large.pop()[2]
    yield from ((label, km, len(fields)) for label, km, fields in large)
    if rest:
        yield "", 0.0, len(rest)


def expected_groups(full, least):
    """(county, week, protocol, in the window, cell, width) to the number of rows."""
    weeks = pandas.read_csv(full / "field_week.csv", dtype={"farm_id": str, "field_id": str, "visit_id": str})
    visits = pandas.read_csv(full / "visit.csv", dtype=str)[["visit_id", "lon", "lat"]]
    visits = visits.astype({"lon": float, "lat": float})
    weeks = weeks.merge(visits, on="visit_id", validate="1:1")
    counties = pandas.read_csv(full / "county_week.csv")
    key = ["county_id", "iso_week", "protocol"]
    shown = set(counties[~counties["suppressed"]][key].itertuples(index=False, name=None))
    groups = {}
    for (county, week, protocol, within), fields in weeks.groupby([*key, "in_window"]):
        fields = fields.to_dict("records")
        if (county, week, protocol) in shown and is_enough(fields, least):
            for cell, km, size in told(fields, least):
                groups[county, week, protocol, within, cell, km] = size
    return groups
