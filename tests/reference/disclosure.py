"""Recomputes the public tables of a roll-up from its private ones by the rule, and compares them cell by cell.

    disclosure.py FOLDER --level survey --boundaries REGION.geojson [--district-property DISTRICT]

FOLDER is what `bractline rollup --out` wrote, with private/ and public/; nothing was public before, and all that may be was
issued or exported (or the weeks named by --weeks). Prints JSON: rows and cells compared by table, and the first differences;
exits 1 if there is any. Not compared: visits_until, which is a day of issue, and moran_p, which is based on a random number
generator.
"""

import argparse
import csv
import json
import math
import pathlib
import sys

from boundaries import read_counties
from disclosure_rule import Ledger, Settings
from disclosure_tables import WEEKDAYS, moran, publish, read_field_weeks, tables
from further_figures import neighbors_of

KEYS = {
    "county_week": ["county_id", "iso_week", "protocol"],
    "elsewhere_week": ["place", "iso_week", "protocol"],
    "district_week": ["district", "iso_week", "protocol"],
    "region_week": ["season", "iso_week", "protocol"],
    "region_median": ["season", "iso_week", "protocol", "median_class"],
    "region_stage": ["season", "iso_week", "protocol", "crop_stage", "in_window"],
}
NOT_COMPARED = {"visits_until", "moran_p"}
DIFFERENCES_SHOWN = 40


def read_csv(path):
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def equal(ours, theirs):
    """Whether a text of a CSV is our value: floats to 1e-9."""
    if ours is None or theirs == "":
        return ours is None and theirs == ""
    if isinstance(ours, str):
        return ours == theirs
    return math.isclose(float(theirs), ours, rel_tol=1e-9, abs_tol=1e-9)


def compare(name, ours, theirs, differences):
    """Compares a table; gives how many rows and cells it has in common."""
    key_of = lambda row: tuple(str(row[column]) for column in KEYS[name])
    mine, other = {key_of(row): row for row in ours}, {key_of(row): row for row in theirs}
    if len(other) != len(theirs) or len(mine) != len(ours):
        differences.append(f"{name}: a key occurs twice")
    for key in sorted(mine.keys() ^ other.keys()):
        where = "by the rule, but is not published" if key in mine else "published, but not by the rule"
        differences.append(f"{name} {' '.join(key)}: {where}")
    rows, cells = sorted(mine.keys() & other.keys()), 0
    for key in rows:
        for column in sorted({*mine[key], *other[key]} - NOT_COMPARED):
            if column not in other[key] or column not in mine[key]:
                differences.append(f"{name}: column {column} is in one table alone")
                continue
            cells += 1
            if not equal(mine[key][column], other[key][column]):
                pair = f"by the rule {mine[key][column]}, published {other[key][column] or 'null'}"
                differences.append(f"{name} {' '.join(key)} {column}: {pair}")
    return {"rows": len(rows), "cells": cells}


def region_of(path, id_property=None, name_property="name", district_property="DISTRICT"):
    """Names by county, neighbors by county, districts by county."""
    counties = read_counties(path, id_property=id_property, name_property=name_property)
    districts = {}
    for feature in json.loads(pathlib.Path(path).read_text()).get("features", []):
        properties = feature["properties"]
        county = str(properties[id_property] if id_property else feature["id"])
        if properties.get(district_property):
            districts[county] = str(properties[district_property])
    return counties.names, neighbors_of(counties), districts


def add_moran(ledger, found, neighbors):
    for row in found["region_week"]:
        rows = ledger.rows[row["iso_week"], row["protocol"]]
        counties = {place[1]: one.figures[-1] for place, one in rows.items() if place[0] == "county"}
        row["moran_counties"], row["moran_i"] = moran(counties, neighbors)


def add_arguments(parser):
    """What describes a workspace: its level, its least numbers, its region."""
    parser.add_argument("--level", choices=["survey", "strict"], default="survey")
    parser.add_argument("--min-fields", type=int, default=3)
    parser.add_argument("--min-farms", type=int, default=3)
    parser.add_argument("--min-fields-without-farms", type=int, default=5)
    parser.add_argument("--boundaries", required=True, help="GeoJSON with the districts as a property")
    parser.add_argument("--district-property", default="DISTRICT")
    parser.add_argument("--id-property", help="default: the id of the feature itself")
    parser.add_argument("--name-property", default="name")


def settings_of(arguments):
    return Settings(arguments.level, arguments.min_fields, arguments.min_farms, arguments.min_fields_without_farms)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--weeks", help="only these ISO weeks were issued, with commas")
    parser.add_argument("--week-starts", choices=WEEKDAYS, default="Monday", help="the day on which weeks start")
    add_arguments(parser)
    arguments = parser.parse_args()
    names, neighbors, districts = region_of(
        arguments.boundaries, arguments.id_property, arguments.name_property, arguments.district_property
    )
    ledger = Ledger(settings_of(arguments), districts)
    weeks, known = read_field_weeks(arguments.folder / "private" / "field_week.parquet")
    publish(ledger, weeks, known, arguments.weeks and set(arguments.weeks.split(",")))
    found = tables(ledger, names, neighbors, arguments.week_starts)
    add_moran(ledger, found, neighbors)
    differences, compared = [], {}
    for name, ours in found.items():
        theirs = read_csv(arguments.folder / "public" / f"{name}.csv")
        compared[name] = compare(name, ours, theirs, differences)
    print(json.dumps({"compared": compared, "differences": len(differences), "first": differences[:DIFFERENCES_SHOWN]}, indent=1))
    sys.exit(bool(differences))


if __name__ == "__main__":
    main()
