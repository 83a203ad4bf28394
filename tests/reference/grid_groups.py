"""How many rows of which place a package of the level grid must have, from the full package of the same store.

Written from what schemas/README.md says of the level and from the head of src/scouting/region/point_grid.rs; shares no code with
bractline.
"""

import collections
import math
import unicodedata

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
    return f"r{math.floor(lat / height(km))}c{math.floor((lon + 180) / 360 * columns) % columns}"


def folded(farm):
    """A farm's id as ids are compared: None if nothing of it is left."""
    if pandas.isna(farm):
        return None
    return "".join(c for c in unicodedata.normalize("NFKC", farm).lower() if c.isalnum()) or None


def is_enough(fields, least, farms_known):
    """Whether the fields are a group that may be shown: rule 10 of DICTIONARY.md."""
    if not farms_known:
        return len(fields) >= least["minFieldsWithoutFarms"]
    farms = collections.Counter(folded(field["farm_id"]) for field in fields)
    named = [farm for farm in farms if farm is not None]
    return (
        len(fields) >= least["minFields"]
        and len(named) >= least["minFarms"]
        and max(farms.values()) * 2 <= len(fields)
    )


def told(fields, least, farms_known):
    """Yields (cell, width, number of fields); an empty cell is the county alone."""
    rest, large = fields, []
    for km in (float(width) for width in WIDTHS if width >= least["pointGridKm"]):
        cells = collections.defaultdict(list)
        for field in rest:
            cells[cell_of(field["lon"], field["lat"], km)].append(field)
        rest = []
        for label in sorted(cells):
            if is_enough(cells[label], least, farms_known):
                large.append((label, km, cells[label]))
            else:
                rest += cells[label]
    large.sort(key=lambda cell: -len(cell[2]))
    while rest and not is_enough(rest, least, farms_known) and large:
        rest = rest + large.pop()[2]
    yield from ((label, km, len(fields)) for label, km, fields in large)
    if rest:
        yield "", 0.0, len(rest)


def seasons_with_farms(weeks):
    """Seasons in which a visit names a farm, under any protocol."""
    return set(weeks.loc[weeks["farm_id"].map(folded).notna(), "season"])


def expected_groups(full, least):
    """(county, week, protocol, in the window, cell, width) to the number of rows; and the county-weeks of them."""
    weeks = pandas.read_csv(full / "field_week.csv", dtype={"farm_id": str, "field_id": str, "visit_id": str})
    visits = pandas.read_csv(full / "visit.csv", dtype=str)[["visit_id", "lon", "lat"]]
    visits = visits.astype({"lon": float, "lat": float})
    with_farms = seasons_with_farms(weeks)
    weeks = weeks.drop(columns=["lon", "lat"], errors="ignore").merge(visits, on="visit_id", validate="1:1")
    weeks = weeks[~(weeks["in_window"] & weeks["after_treatment"])]
    groups, shown = {}, set()
    for (season, county, week, protocol), fields in weeks.groupby(["season", "county_id", "iso_week", "protocol"]):
        sides = {side: fields[fields["in_window"] == side].to_dict("records") for side in (True, False)}
        farms_known = season in with_farms
        if sides[True] and not is_enough(sides[True], least, farms_known):
            continue
        for within, mine in sides.items():
            if mine and is_enough(mine, least, farms_known):
                shown.add((county, week, protocol))
                for cell, km, size in told(mine, least, farms_known):
                    groups[county, week, protocol, within, cell, km] = size
    return groups, shown
