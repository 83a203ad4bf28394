"""What figures in full precision give away of the fields behind them: attacks that a coarse table must leave without any reach.

    disclosure_full_figures.py FOLDER [GRID_PACKAGE]

FOLDER/truth/T/field_week.parquet and FOLDER/public/T/county_week.csv for T = 1, 2 … of one week of visits. GRID_PACKAGE is a
package of field rows without names. An attack that lacks a column reaches nothing. Prints JSON: per attack how many fields or
rows were attacked, how many were recovered (to 1e-6), and the largest error of these.
"""

import itertools
import json
import pathlib
import sys
from collections import Counter

import pandas

from disclosure_rule import SLACK, fold

EXACT = 1e-6


def read(folder, time):
    """Public rows by county, and the true fields in the window by county."""
    public = pandas.read_csv(folder / "public" / time / "county_week.csv", dtype={"county_id": str})
    truth = pandas.read_parquet(folder / "truth" / time / "field_week.parquet")
    truth = truth[truth["in_window"]].copy()
    truth["farm"] = [fold(farm) if isinstance(farm, str) else None for farm in truth["farm_id"]]
    rows = {row["county_id"]: row for row in public.to_dict("records") if row.get("fields_visited", 0) > 0}
    return rows, dict(tuple(truth.groupby("county_id")))


def has(row, *names):
    return all(name in row and pandas.notna(row[name]) for name in names)


class Reach(Counter):
    """What an attack reached."""

    def add(self, got, truth):
        error = abs(got - truth)
        self["attacked"] += 1
        if error < EXACT:
            self["recovered"] += 1
            self["largest_error"] = max(self["largest_error"], error)


def three_fields(rows, truth):
    """min = 3 mean - median - max, in counties of three fields."""
    found = Reach()
    for county, row in rows.items():
        pressures = sorted(truth[county]["pressure"])
        if row["fields_visited"] != 3:
            continue
        if not has(row, "mean_pressure", "median_pressure", "max_pressure"):
            found["attacked"] += 3
            continue
        mean, median, top = (row[f"{name}_pressure"] for name in ("mean", "median", "max"))
        for got, true in zip(sorted([3 * mean - median - top, median, top]), pressures):
            found.add(got, true)
    return found


def which_by_area(rows, truth):
    """Which fields are at threshold, for somebody who knows all areas: only one set of fields has that share of the area."""
    found = Counter()
    for county, row in rows.items():
        fields = truth[county]
        if len(fields) > 12 or not 0 < (fields["pressure"] >= 1 - SLACK).sum() < len(fields):
            continue
        found["attacked"] += 1
        if not has(row, "area_share_at_threshold"):
            continue
        areas = [*fields["area_ha"]]
        wanted = row["area_share_at_threshold"] * sum(areas)
        fitting = [
            subset for count in range(len(areas) + 1) for subset in itertools.combinations(range(len(areas)), count)
            if abs(sum(areas[at] for at in subset) - wanted) < 1e-6
        ]
        found["recovered"] += len(fitting) == 1
    return found


def late_field(before, after, truth):
    """n2 mean2 - n1 mean1, where one field came or went between two issues."""
    found = Reach()
    for county in sorted(before.keys() & after.keys()):
        old, new = before[county], after[county]
        if not has(old, "mean_pressure") or not has(new, "mean_pressure"):
            continue
        if abs(new["fields_visited"] - old["fields_visited"]) != 1:
            continue
        got = abs(new["fields_visited"] * new["mean_pressure"] - old["fields_visited"] * old["mean_pressure"])
        found.add(got, min(truth[county]["pressure"], key=lambda value: abs(value - got)))
    return found


def one_farm(rows, truth):
    """Counties shown whose fields are of fewer than three known farms; a field without an id may be any farm's."""
    shown = [truth[county] for county in rows if len(truth[county]) >= 3]
    return {"attacked": len(rows), "recovered": sum(fields["farm"].nunique() < 3 for fields in shown)}


def dominant_farm(rows, truth):
    """The mean of a farm with more than half of a county's fields: n mean / its fields, all others supposed to be 0."""
    found = Counter()
    for county, row in rows.items():
        fields = truth[county]
        farms = fields.groupby("farm")["pressure"]
        if not len(farms) or 2 * farms.count().max() <= len(fields) or farms.count().max() == len(fields):
            continue
        found["attacked"] += 1
        if has(row, "mean_pressure"):
            count, mean = farms.count().max(), farms.mean()[farms.count().idxmax()]
            got = row["fields_visited"] * row["mean_pressure"] / count
            found["recovered"] += abs(got / mean - 1) < 0.05
            found["error_percent"] = round(100 * abs(got / mean - 1), 2)
    return found


def thresholds(rows, truth, package):
    """Thresholds of fields: the two-digit means of a package's rows over the pressures that three_fields gives."""
    found = Counter()
    fields = pandas.read_csv(package / "field_week.csv", dtype={"county_id": str})
    for county, row in rows.items():
        if row["fields_visited"] != 3:
            continue
        found["attacked"] += 3
        means = sorted(fields[fields["county_id"] == county]["field_mean"])
        if len(means) != 3 or not has(row, "mean_pressure", "median_pressure", "max_pressure"):
            continue
        mean, median, top = (row[f"{name}_pressure"] for name in ("mean", "median", "max"))
        pressures = [3 * mean - median - top, median, top]
        true = {round(one, 9) for one in truth[county]["threshold"]}
        # In which order the means go with the pressures is not known: every order that stays among likely thresholds.
        for order in itertools.permutations(means):
            got = [eggs / pressure for eggs, pressure in zip(order, sorted(pressures)) if pressure > 0]
            near = sum(min(abs(one / other - 1) for other in true) < 0.05 for one in got)
            found[county] = max(found[county], near)
        found["recovered"] += found.pop(county)
    return found


def main():
    folder = pathlib.Path(sys.argv[1])
    states = [read(folder, time) for time in sorted(path.name for path in (folder / "public").iterdir())]
    (rows, truth), (later, later_truth) = states[0], states[-1]
    joined = {county: pandas.concat([fields, later_truth.get(county)]) for county, fields in truth.items()}
    found = {
        "fields of counties of three, exact": three_fields(rows, truth),
        "which fields are at threshold, by area": which_by_area(rows, truth),
        "a field that came or went": late_field(rows, later, joined),
        "counties shown of fewer than three known farms": one_farm(rows, truth),
        "mean of a dominant farm, to 5%": dominant_farm(rows, truth),
    }
    if len(sys.argv) > 2:
        found["thresholds, to 5%"] = thresholds(rows, truth, pathlib.Path(sys.argv[2]))
    print(json.dumps({name: dict(reach) for name, reach in found.items()}, indent=1, default=float))


if __name__ == "__main__":
    main()
