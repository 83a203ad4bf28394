"""Builds county_week_full.csv of a full package again, from its tables visit, unit and protocol alone.

rebuild_county_week.py FOLDER

A reader who has nothing but the package: the rules are those of its DICTIONARY.md. Shares no code with bractline: pandas,
scipy and, for the thresholds' expressions, DuckDB. Prints JSON: how many cells are the same, and every difference. Not built
again are the days of the window, which rest on weather or day ranges.
"""

import json
import math
import pathlib
import sys

import duckdb
import numpy
import pandas
from scipy import stats

Z = 1.959963984540054
NOT_BUILT = ["window_opens", "window_closes", "window_basis"]
KEY = ["county_id", "iso_week", "protocol"]
COUNTS = [
    "farms_given", "farms", "fields_visited", "fields_at_threshold", "fields_near_threshold", "fields_outside_stage",
    "fields_with_assumed_economics",
]
FIGURES = COUNTS + [
    "share_at_threshold", "share_low", "share_high", "mean_pressure", "median_pressure", "p90_pressure",
    "max_pressure", "area_share_at_threshold",
]
TEXTS = ["visit_id", "field_id", "farm_id", "county_id", "assumed", "counts", "crop_stage", "protocol", "iso_week"]


def read(folder, name):
    return pandas.read_csv(folder / f"{name}.csv", dtype=dict.fromkeys(TEXTS, str), keep_default_na=False, na_values=[""])


def means(visits, units, protocols):
    """Rules 1 to 3: unit, site, field mean and standard error."""
    units = units.merge(visits[["visit_id", "protocol"]], on="visit_id", validate="m:1")
    units = units.merge(protocols[["protocol", "catch_by_night"]], on="protocol", validate="m:1")
    units["value"] = units["counts"].map(lambda counts: sum(int(count) for count in counts.split())).astype(float)
    by_night = units["catch_by_night"] & units["nights"].notna()
    units.loc[by_night, "value"] /= units.loc[by_night, "nights"]
    sites = units.groupby(["visit_id", "site"])["value"].mean()
    by_visit = sites.groupby("visit_id")
    table = pandas.DataFrame({"mean": by_visit.mean(), "count": by_visit.count(), "sd": by_visit.std(ddof=1)})
    table["error"] = table["sd"] / numpy.sqrt(table["count"])
    return visits.merge(table, left_on="visit_id", right_index=True, validate="1:1")


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
    """Rules 6 and 7: the stage window, and the visit that stands for its field."""
    window = protocols[["protocol", "stage_first", "stage_last"]]
    visits = visits.merge(window, on="protocol", suffixes=("", "_of_window"), validate="m:1")
    first = visits["stage_first"] >= visits["stage_first_of_window"]
    visits["within"] = first & (visits["stage_last"] <= visits["stage_last_of_window"])
    visits["bytes"] = visits["visit_id"].map(str.encode)
    ordered = visits.sort_values(["within", "observed_on", "bytes"])
    return ordered.groupby(["field_id", "iso_week", "protocol"]).tail(1)


def is_near(row):
    """Rule 8."""
    if row["count"] < 2 or row["mean"] == 0:
        return False
    factor = math.exp(stats.t.ppf(0.975, row["count"] - 1) * row["error"] / row["mean"])
    return row["mean"] / factor <= row["bound"] <= row["mean"] * factor


def wilson(found, visited):
    share = found / visited
    middle = (share + Z**2 / (2 * visited)) / (1 + Z**2 / visited)
    reach = Z * math.sqrt(share * (1 - share) / visited + Z**2 / (4 * visited**2)) / (1 + Z**2 / visited)
    return 0.0 if share == 0 else middle - reach, 1.0 if share == 1 else middle + reach


def farms_of(fields):
    """How many fields name a farm, and their farms; a field that names none counts as one."""
    farms = fields["farm_id"].fillna("field " + fields["field_id"])
    return {"farms_given": int(fields["farm_id"].notna().sum()), "farms": farms.nunique()}


def county_week(group):
    """Rule 9."""
    fields = group[group["within"]]
    outside = len(group) - len(fields)
    row = dict.fromkeys(FIGURES)
    row.update(farms_of(fields if len(fields) else group))
    pressures = fields["pressure"].to_numpy()
    at_threshold = fields["pressure"] >= 1 - 1e-12
    row.update(
        fields_visited=len(fields),
        fields_at_threshold=int(at_threshold.sum()),
        fields_near_threshold=int(fields["near"].sum()),
        fields_outside_stage=outside,
        fields_with_assumed_economics=int(fields["assumed"].notna().sum()),
    )
    if len(fields):
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


def built(folder):
    protocols = read(folder, "protocol")
    visits = thresholds(means(read(folder, "visit"), read(folder, "unit"), protocols), protocols)
    visits["pressure"] = visits["mean"] / visits["bound"]  # rule 5
    weeks = standing(visits, protocols)
    weeks["near"] = weeks.apply(is_near, axis=1)
    return {key: county_week(group) for key, group in weeks.groupby(KEY)}


def main():
    folder = pathlib.Path(sys.argv[1])
    ours = built(folder)
    theirs = read(folder, "county_week_full")
    named = [*KEY, "county_name", "season"]
    assert set(theirs.columns) == {*named, *FIGURES, *NOT_BUILT}, "a column that nobody builds or leaves out by name"
    differences, same = [], 0
    keys = [tuple(row) for row in theirs[KEY].itertuples(index=False)]
    if sorted(keys) != sorted(ours):
        differences.append(f"rows: {sorted(set(keys) ^ set(ours))[:5]}")
    for key, row in zip(keys, theirs.to_dict("records")):
        mine = ours.get(key, {})
        for name in FIGURES:
            one, other = mine.get(name), row[name]
            if one is None or pandas.isna(other):
                equal = one is None and pandas.isna(other)
            elif name in COUNTS:
                equal = one == other
            else:
                equal = math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-12)
            same += equal
            if not equal:
                differences.append(f"{key} {name}: built {one}, theirs {other}")
    print(json.dumps({"rows": len(theirs), "same": same, "differences": differences[:20]}))


if __name__ == "__main__":
    main()
