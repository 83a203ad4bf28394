"""Computes county_week_effort of a package of the level full again, from its visits and raw counts, and compares it.

    effort.py PACKAGE

Prints JSON: how many rows were compared. Exits 1 on a difference. The heat sums of a package with weather are held to
its days of heat as well.
"""

import json
import pathlib
import sys

import numpy
import pandas

KEY = ["county_id", "iso_week", "protocol"]
TEXTS = dict.fromkeys(["visit_id", "field_id", "farm_id", *KEY], str)


def read(folder, name):
    return pandas.read_csv(folder / f"{name}.csv", dtype=TEXTS, keep_default_na=False, na_values=[""])


def effort_of(visits, units):
    """Rows by key, as rule 9 of DICTIONARY.md has them."""
    visits = visits[visits["threshold"].notna()]
    counted = units.groupby("visit_id").agg(sites_counted=("site", "nunique"), units_counted=("unit", "size"))
    visits = visits.join(counted, on="visit_id")
    rows = {}
    for key, group in visits.groupby(KEY):
        reference = group[group["is_reference"]]
        within = reference[reference["in_window"] & ~reference["after_treatment"]]
        pressures = within["pressure"].to_numpy()
        rows[key] = {
            "fields": len(reference),
            "visits": len(group),
            "fields_visited": len(within),
            "sites": int(within["sites_counted"].sum()),
            "units": int(within["units_counted"].sum()),
            "mean_pressure": float(numpy.mean(pressures)) if len(within) else None,
            "mean_pressure_se": (
                float(numpy.std(pressures, ddof=1) / numpy.sqrt(len(within))) if len(within) > 1 else None
            ),
        }
    return rows


def differs(ours, theirs):
    if ours is None or pandas.isna(theirs):
        return not (ours is None and pandas.isna(theirs))
    return abs(ours - theirs) > 1e-9 * max(1.0, abs(ours))


def check_heat(folder):
    """A sum is that of the days since the first one that has a sum of its own heat alone."""
    heat = read(folder, "heat_day")
    heat["day"] = pandas.to_datetime(heat["day"])
    for key, group in heat.groupby(["station", "protocol"]):
        before = None
        for row in group.sort_values("day").itertuples():
            follows = before is not None and (row.day - before.day).days == 1
            own, whole = row.degree_days_c, row.accumulated_degree_days_c
            alone = not pandas.isna(whole) and abs(whole - own) < 1e-9
            if follows and not pandas.isna(before.accumulated_degree_days_c) and not alone:
                if differs(before.accumulated_degree_days_c + own, whole):
                    sys.exit(f"heat of {key} on {row.day}: {whole}")
            elif not pandas.isna(whole) and not alone:
                sys.exit(f"heat of {key} on {row.day}: {whole} after a day without a sum")
            before = row
    return len(heat)


def main(folder):
    mine = effort_of(read(folder, "visit"), read(folder, "unit"))
    theirs = read(folder, "county_week_effort")
    keys = {tuple(row) for row in theirs[KEY].itertuples(index=False)}
    if keys != set(mine):
        sys.exit(f"rows differ: {sorted(keys ^ set(mine))[:5]}")
    for row in theirs.to_dict("records"):
        key = tuple(row[name] for name in KEY)
        for name, value in mine[key].items():
            if differs(value, row[name]):
                sys.exit(f"{key} {name}: {row[name]}, here {value}")
    heat = check_heat(folder) if (folder / "heat_day.csv").exists() else 0
    print(json.dumps({"rows": len(mine), "heat": heat}))


main(pathlib.Path(sys.argv[1]))
