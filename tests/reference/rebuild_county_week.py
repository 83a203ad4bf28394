"""Builds the county-weeks of a full package again, from its tables visit, unit and protocol alone.

rebuild_county_week.py FOLDER

A reader who has nothing but the package: the rules are those of its DICTIONARY.md, the smallest groups those of its
datapackage.json. Shares no code with bractline: pandas, scipy and, for the thresholds' expressions, DuckDB. Builds
county_week_full; the public rows of county_week, for a package whose rows were all published by one export of the same
store version at the level survey, in a region without districts; and region_week and district_week from county_week and
elsewhere_week. The weeks of the visits are those of the day on which weeks start, as datapackage.json names it.
Prints JSON: how many cells are the same, and every difference. Not built again are share_smoothed, Moran's I and the days
and weeks of treatment, which are based on outlines and on weather or day ranges.
"""

import datetime
import json
import math
import pathlib
import sys

import duckdb
import numpy
import pandas

import clumped_fields
from grid_groups import folded, is_enough, seasons_with_farms

Z = 1.959963984540054
NOT_BUILT = ["window_opens", "window_closes", "window_basis"]
KEY = ["county_id", "iso_week", "protocol"]
COUNTS = [
    "fields_visited", "fields_at_threshold", "fields_undetermined", "fields_outside_stage", "fields_treated",
    "fields_with_assumed_economics", "farms_given", "farms",
]
FIGURES = COUNTS + [
    "share_at_threshold", "share_low", "share_high", "mean_pressure", "median_pressure", "p90_pressure",
    "max_pressure", "area_share_at_threshold",
]
# Columns of a public row that are built.
PUBLIC = [
    "fields_visited", "at_threshold_min", "at_threshold_max", "share_low", "share_high", "median_class", "mean_pressure",
    "fields_with_assumed_economics", "fields_outside_stage",
]
CLASSES = [0, 0.25, 0.5, 1, 1.5, 3]
TEXTS = ["treated_on", "treatment", "visit_id", "field_id", "farm_id", "county_id", "assumed", "counts", "crop_stage", "protocol", "iso_week"]


def read(folder, name):
    return pandas.read_csv(folder / f"{name}.csv", dtype=dict.fromkeys(TEXTS, str), keep_default_na=False, na_values=[""])


def means(visits, units, protocols):
    """Rules 1 to 3: unit, site, field mean and standard error."""
    units = units.merge(visits[["visit_id", "protocol"]], on="visit_id", validate="m:1")
    units = units.merge(protocols[["protocol", "catch_by_night", "zones"]], on="protocol", validate="m:1")
    units["value"] = units["counts"].map(lambda counts: sum(int(count) for count in counts.split())).astype(float)
    # Null where no traps are counted.
    by_night = units["catch_by_night"].eq(True) & units["nights"].notna()
    units.loc[by_night, "value"] /= units.loc[by_night, "nights"]
    sites = units.groupby(["visit_id", "site"])["value"].mean()
    by_visit = sites.groupby("visit_id")
    table = pandas.DataFrame({"mean": by_visit.mean(), "count": by_visit.count(), "sd": by_visit.std(ddof=1)})
    table["examined"] = units.groupby("visit_id")["value"].count()
    table["error"] = table["sd"] / numpy.sqrt(table["count"])
    for visit_id, of_visit in units[units["zones"].notna()].groupby("visit_id"):
        table.loc[visit_id, ["mean", "error"]] = within_zones(of_visit)
    # Without zones the same as before.
    table["sd"] = table["error"] * numpy.sqrt(table["count"])
    return visits.merge(table, left_on="visit_id", right_index=True, validate="1:1")


def within_zones(units):
    """Mean and standard error of one visit under a protocol with zones (rule 3)."""
    sites = units.assign(zone=units["side"].str.strip().str.lower()).groupby(["zone", "site"])["value"].mean()
    zones = sites.groupby("zone").agg(["mean", "var", "count"])
    shares = {name: float(share) for name, share in (zone.rsplit(" ", 1) for zone in units["zones"].iloc[0].split(", "))}
    assert set(zones.index) == set(shares), f"zones: {list(zones.index)}"
    share = zones.index.map(shares).to_numpy()
    error = numpy.sqrt(numpy.sum(share**2 * zones["var"].to_numpy() / zones["count"].to_numpy()))
    return float(numpy.sum(share * zones["mean"].to_numpy())), float(error)


def thresholds(visits, protocols):
    """Rule 4: each protocol's expression over the visit's own columns."""
    parts = []
    for protocol in protocols.itertuples():
        mine = visits[visits["protocol"] == protocol.protocol]
        if len(mine):
            query = f"select visit_id, cast({protocol.threshold_expression} as double) as bound from mine"
            parts.append(duckdb.sql(query).df())
    bounds = pandas.concat(parts)
    bounds = bounds[bounds["bound"] > 0]
    return visits.merge(bounds, on="visit_id", validate="1:1")


def standing(visits, protocols):
    """Rules 6 and 7: the stage window, and the reference visit of the field."""
    window = protocols[["protocol", "stage_first", "stage_last", "after_treatment_days"]]
    visits = visits.merge(window, on="protocol", suffixes=("", "_of_window"), validate="m:1")
    first = visits["stage_first"] >= visits["stage_first_of_window"]
    visits["within"] = first & (visits["stage_last"] <= visits["stage_last_of_window"])
    days = (pandas.to_datetime(visits["observed_on"]) - pandas.to_datetime(visits["treated_on"])).dt.days
    known = visits["treated_on"].notna()
    undated = ~known & visits["treatment"].isin(["insecticide", "other"])
    after = (known & (days <= visits["after_treatment_days"])) | undated
    assert (after == visits["after_treatment"]).all(), "rule 7"
    visits["treated"] = visits["within"] & after
    visits["rank"] = visits["within"].astype(int) * 2 - visits["treated"].astype(int)
    visits["bytes"] = visits["visit_id"].map(str.encode)
    ordered = visits.sort_values(["rank", "observed_on", "bytes"])
    return ordered.groupby(["field_id", "iso_week", "protocol"]).tail(1)


def undetermined(weeks, certainty):
    """Rule 8."""
    fields = weeks.rename(columns={"within": "in_window", "bound": "threshold"})
    fields["sites"], fields["units"], fields["variance"] = fields["count"], fields["examined"], fields["sd"] ** 2
    return [field["undetermined"] is True for field in clumped_fields.figures(fields.to_dict("records"), certainty)]


def wilson(found, visited):
    share = found / visited
    middle = (share + Z**2 / (2 * visited)) / (1 + Z**2 / visited)
    reach = Z * math.sqrt(share * (1 - share) / visited + Z**2 / (4 * visited**2)) / (1 + Z**2 / visited)
    return 0.0 if share == 0 else middle - reach, 1.0 if share == 1 else middle + reach


def county_week(group):
    """Rule 9."""
    fields = group[group["within"] & ~group["treated"]]
    counted = fields if len(fields) else group
    row = dict.fromkeys(FIGURES)
    at_threshold = fields["pressure"] >= 1 - 1e-12
    row.update(
        fields_visited=len(fields),
        fields_at_threshold=int(at_threshold.sum()),
        fields_undetermined=int(fields["undetermined"].sum()),
        fields_outside_stage=int((~group["within"]).sum()),
        fields_treated=int(group["treated"].sum()),
        fields_with_assumed_economics=int(fields["assumed"].notna().sum()),
        farms_given=int(counted["farm_id"].notna().sum()),
        farms=counted["farm_id"].fillna("field " + counted["field_id"]).nunique(),
    )
    if len(fields):
        pressures = fields["pressure"].to_numpy()
        low, high = wilson(row["fields_at_threshold"], len(fields))
        row.update(
            share_at_threshold=row["fields_at_threshold"] / len(fields),
            share_low=low,
            share_high=high,
            mean_pressure=float(numpy.mean(pressures)),
            median_pressure=float(numpy.median(pressures)),
            p90_pressure=float(numpy.quantile(pressures, 0.9)),
            max_pressure=float(numpy.max(pressures)),
            area_share_at_threshold=float(fields.loc[at_threshold, "area_ha"].sum() / fields["area_ha"].sum()),
        )
    return row


def class_of(pressures):
    """Rule 12."""
    if max(pressures) == 0:
        return "nothing-found"
    place = max(place for place, bound in enumerate(CLASSES) if numpy.median(pressures) + 1e-12 >= bound)
    return f"{CLASSES[place]:g}" + (f"-{CLASSES[place + 1]:g}" if place + 1 < len(CLASSES) else "+")


def public_row(group, least, farms_known):
    """Rules 10 to 12 at the level survey; None without a row."""
    group = group[~group["treated"]]
    fields, outside = (group[group["within"] == side] for side in (True, False))

    def may_be_shown(side):
        return len(side) > 0 and is_enough(side.to_dict("records"), least, farms_known)

    outside_shown = may_be_shown(outside)
    if not (may_be_shown(fields) if len(fields) else outside_shown):
        return None
    visited = len(fields)
    row = dict.fromkeys(PUBLIC)
    row.update(fields_visited=visited, at_threshold_min=0, at_threshold_max=0)
    row["fields_outside_stage"] = len(outside) if outside_shown or len(outside) == 0 else None

    def unless_few(count):
        return None if count in (1, 2) or visited - count in (1, 2) else count

    row["fields_with_assumed_economics"] = unless_few(int(fields["assumed"].notna().sum()))
    if visited == 0:
        return row
    pressures = fields["pressure"].to_numpy()
    at = int((pressures >= 1 - 1e-12).sum())
    if visited < 5:
        ends = (0, 0) if at == 0 else (1, visited)
    else:
        ends = (visited - 1, visited) if at >= visited - 1 else (at, at)
        row["median_class"] = class_of(pressures)
    row.update(at_threshold_min=ends[0], at_threshold_max=ends[1])
    row.update(share_low=wilson(ends[0], visited)[0], share_high=wilson(ends[1], visited)[1])
    farms = fields["farm_id"].map(folded)
    sizes = farms.fillna("none").value_counts()
    if farms_known and visited >= 10 and farms.nunique() >= 5 and sizes.max() * 3 <= visited:
        row["mean_pressure"] = round(float(numpy.mean(pressures)) / 0.2) / 5
    return row


def built(folder):
    """County-weeks in full, and those with a public row."""
    least = json.loads((folder / "datapackage.json").read_text())["parameters"]
    protocols = read(folder, "protocol")
    visits = thresholds(means(read(folder, "visit"), read(folder, "unit"), protocols), protocols)
    visits["pressure"] = visits["mean"] / visits["bound"]  # rule 5
    weeks = standing(visits, protocols)
    weeks["undetermined"] = undetermined(weeks, least["callCertainty"])
    with_farms = seasons_with_farms(weeks)
    full, public = {}, {}
    for key, group in weeks.groupby(KEY):
        full[key] = county_week(group)
        row = public_row(group, least, group["season"].iloc[0] in with_farms)
        if row is not None:
            public[key] = row
    return full, public


def week_of(day, start):
    """Rule 7: the ISO week of the middle day of the week that begins on the last `start` until the day."""
    names = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"]
    first = day - datetime.timedelta((day.weekday() - names.index(start)) % 7)
    year, week, _ = (first + datetime.timedelta(3)).isocalendar()
    return f"{year}-W{week:02d}", first


def misplaced(folder, visits, parameters):
    """Visits that are not in the week of their day, and rows of tables whose days are not those of their week."""
    assert parameters["weekStartsOfSeasons"] == {}, "one kind of week is checked here"
    start, wrong = parameters["weekStarts"], []
    for visit in visits.itertuples():
        name, _ = week_of(datetime.date.fromisoformat(visit.observed_on), start)
        if (visit.iso_week, visit.season) != (name, int(name[:4])):
            wrong.append(f"{visit.visit_id}: {visit.iso_week}, built {name}")
    for table in ("elsewhere_week", "district_week", "region_week", "region_median", "region_stage", "sample_point"):
        for row in read(folder, table).itertuples():
            first = datetime.date.fromisoformat(row.week_start)
            if week_of(first, start) != (row.iso_week, first) or row.week_end != str(first + datetime.timedelta(6)):
                wrong.append(f"{table}: {row.iso_week} from {row.week_start} to {row.week_end}")
    return wrong


def region_weeks(folder, of=("iso_week", "protocol")):
    """Rule 14, from the public tables alone."""
    names = ["fields_visited", "at_threshold_min", "at_threshold_max"]
    rows = pandas.concat([read(folder, "county_week"), read(folder, "elsewhere_week")])
    weeks = {}
    for key, group in rows.groupby(list(of)):
        week = {name: int(group[name].sum()) for name in names}
        week["counties_shown"] = int(group["county_id"].notna().sum())
        week["elsewhere_rows"] = int(group["county_id"].isna().sum())
        week["places_at_threshold"] = int((group["at_threshold_min"] > 0).sum())
        week["share_low"] = week["share_high"] = None
        if week["fields_visited"]:
            week["share_low"] = wilson(week["at_threshold_min"], week["fields_visited"])[0]
            week["share_high"] = wilson(week["at_threshold_max"], week["fields_visited"])[1]
        weeks[key] = week
    return weeks


def compare(name, ours, theirs, key, columns, differences):
    """How many cells of the rows are the same; notes those that differ."""
    same = 0
    keys = [tuple(row) for row in theirs[key].itertuples(index=False)]
    if sorted(keys) != sorted(ours):
        differences.append(f"{name}, rows: {sorted(set(keys) ^ set(ours))[:5]}")
    for row_key, row in zip(keys, theirs.to_dict("records")):
        mine = ours.get(row_key, {})
        for column in columns:
            one, other = mine.get(column), row[column]
            if one is None or pandas.isna(other):
                equal = one is None and pandas.isna(other)
            elif isinstance(one, (int, str)):
                equal = one == other
            else:
                equal = math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-12)
            same += bool(equal)
            if not equal:
                differences.append(f"{name} {row_key} {column}: built {one}, theirs {other}")
    return same


def main():
    folder = pathlib.Path(sys.argv[1])
    full, public = built(folder)
    differences = []
    theirs = read(folder, "county_week_full")
    named = [*KEY, "county_name", "season"]
    assert set(theirs.columns) == {*named, *FIGURES, *NOT_BUILT}, "a column that nobody builds or leaves out by name"
    same = compare("county_week_full", full, theirs, KEY, FIGURES, differences)
    shown = read(folder, "county_week")
    assert (shown["edition"] == 1).all() and (shown["level"] == "survey").all()
    same += compare("county_week", public, shown, KEY, PUBLIC, differences)
    weeks = region_weeks(folder)
    columns = list(next(iter(weeks.values())))
    same += compare("region_week", weeks, read(folder, "region_week"), ["iso_week", "protocol"], columns, differences)
    if (folder / "district_week.csv").exists() and len(read(folder, "district_week")):
        key = ["district", "iso_week", "protocol"]
        districts = region_weeks(folder, key)
        same += compare("district_week", districts, read(folder, "district_week"), key, columns, differences)
    parameters = json.loads((folder / "datapackage.json").read_text())["parameters"]
    differences += misplaced(folder, read(folder, "visit"), parameters)
    print(json.dumps({"rows": len(theirs), "shown": len(shown), "same": same, "differences": differences[:20]}))


if __name__ == "__main__":
    main()
