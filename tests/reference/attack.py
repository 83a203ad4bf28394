"""What a reader of everything that was published can compute of the cells that were withheld.

usage: attack.py FOLDER FLOOR

Gathers every public figure of the season: each alert's CSV and GeoJSON, the sums in each alert's words, and
the season's own files beside them. Each suppressed county-week has two unknowns, the fields visited and those
at threshold. Linear programming (scipy's HiGHS) finds the least and the most that each can be, given
 - 0 <= at threshold <= visited, and that a suppressed cell has at least one visit;
 - every sum over counties that a page prints, if it may include the cell;
 - every row of a total (a county that is no county of the map, a row without a county);
 - a county's season beside its weeks, should there be such a figure.
Each interval must be at least FLOOR wide. Prints what it found as JSON, with a proof that the attack bites:
the same programme over the same season with one cell withheld and the true total beside its parts.
"""

import csv
import json
import pathlib
import re
import sys

import numpy
from scipy.optimize import linprog

# Nobody visits more fields of a county in a week than this; without it the intervals would have no end.
MOST = 1000.0
UNKNOWN = ["fields_visited", "fields_at_threshold"]


def gather(folder):
    """Cells by (county, week, protocol), from every table and map; they must agree."""
    cells, totals = {}, []
    counties = set()
    for path in sorted(folder.rglob("*.geojson")):
        for feature in json.loads(path.read_text())["features"]:
            counties.add(feature["properties"]["county_id"])
            add(cells, totals, feature["properties"], path)
    for path in sorted(folder.rglob("*.csv")):
        for row in csv.DictReader(path.open(newline="")):
            row = {name: None if value == "" else value for name, value in row.items()}
            row["suppressed"] = row["suppressed"] == "true"
            add(cells, totals, row, path, counties)
    return cells, totals


def add(cells, totals, row, path, counties=None):
    if row.get("status") == "no-visits":
        return
    figures = {name: None if row.get(name) is None else float(row[name]) for name in UNKNOWN}
    # A rate beside a count would give the other count: taken in, should the count be withheld.
    share = row.get("share_at_threshold")
    cell = {"suppressed": row["suppressed"], "share": None if share is None else float(share), **figures}
    if counties is not None and row["county_id"] not in counties or row.get("iso_week") is None:
        totals.append((row.get("iso_week"), row["protocol"], figures))
        return
    key = row["county_id"], row["iso_week"], row["protocol"]
    known = cells.setdefault(key, cell)
    assert known == cell, f"{path}: {key} is {cell}, elsewhere {known}"


def page_sums(folder):
    """The sums that each bulletin prints: (week, protocol) and the fields visited and at threshold."""
    sums = []
    for path in sorted(folder.glob("*/alert.md")):
        text = " ".join(path.read_text().split())
        week = re.search(r"protocol (\S+), ISO week (\d{4}-W\d\d)", text)
        said = re.search(r"scouts visited (\d+) fields? in the stage window[^;]*; (\w+)", text)
        if said is None:
            continue
        visited = float(said[1])
        at = {"none": 0.0, "all": visited, "both": visited}.get(said[2])
        sums.append((week[2], week[1], visited, float(said[2]) if at is None else at))
    return sums


def programme(cells, sums):
    """The unknowns, and the equations that a reader may set up."""
    withheld = [key for key, cell in sorted(cells.items()) if cell["suppressed"]]
    place = {(key, name): 2 * number + part for number, key in enumerate(withheld) for part, name in enumerate(UNKNOWN)}
    left, right = [], []
    for week, protocol, *totals in sums:
        inside = [key for key in cells if key[1:] == (week, protocol)]
        for name, total in zip(UNKNOWN, totals):
            shown = sum(cells[key][name] or 0.0 for key in inside if not cells[key]["suppressed"])
            # A sum that the shown counties fill up is a sum over these, by its own words. Any other could
            # only come about with what was withheld.
            if total == shown:
                continue
            line = numpy.zeros(len(place))
            for key in inside:
                if cells[key]["suppressed"]:
                    line[place[key, name]] = 1.0
            assert line.any(), f"{week}: {total} is not the sum of what is shown, {shown}"
            left.append(line)
            right.append(total - shown)
    for key in withheld:
        if cells[key]["share"] is not None:
            line = numpy.zeros(len(place))
            line[place[key, UNKNOWN[1]]], line[place[key, UNKNOWN[0]]] = 1.0, -cells[key]["share"]
            left.append(line)
            right.append(0.0)
        for name in UNKNOWN:
            if cells[key][name] is not None:
                line = numpy.zeros(len(place))
                line[place[key, name]] = 1.0
                left.append(line)
                right.append(cells[key][name])
    below = numpy.zeros((len(withheld), len(place)))
    for number, key in enumerate(withheld):
        below[number, place[key, UNKNOWN[1]]], below[number, place[key, UNKNOWN[0]]] = 1.0, -1.0
    return withheld, place, left, right, below


def intervals(cells, sums):
    """The least and the most of each unknown."""
    withheld, place, left, right, below = programme(cells, sums)
    found = {}
    for (key, name), number in place.items():
        aim = numpy.zeros(len(place))
        aim[number] = 1.0
        ends = []
        for sign in (1.0, -1.0):
            solved = linprog(
                sign * aim,
                A_ub=below,
                b_ub=numpy.zeros(len(withheld)),
                A_eq=numpy.array(left) if left else None,
                b_eq=numpy.array(right) if right else None,
                bounds=(0.0, MOST),
                method="highs",
            )
            assert solved.status == 0, f"{key} {name}: {solved.message}"
            ends.append(sign * solved.fun)
        found[key, name] = ends
    return found


def bite(cells):
    """One shown cell of a week withheld, and the week's true sum beside the rest: the cell lies open."""
    key = min(key for key, cell in cells.items() if not cell["suppressed"] and cell["fields_visited"])
    week = {other: dict(cell) for other, cell in cells.items() if other[1:] == key[1:] and not cell["suppressed"]}
    sums = [(key[1], key[2], *(sum(cell[name] or 0.0 for cell in week.values()) for name in UNKNOWN))]
    truth = week[key]["fields_visited"]
    week[key] = {"suppressed": True, "share": None, **dict.fromkeys(UNKNOWN)}
    low, high = intervals(week, sums)[key, "fields_visited"]
    assert abs(low - truth) < 1e-6, f"{low} is not {truth}"
    return {"cell": key, "width": round(high - low, 9)}


folder, floor = pathlib.Path(sys.argv[1]), float(sys.argv[2])
cells, totals = gather(folder)
assert not totals, f"rows of totals: {totals}"
sums = page_sums(folder)
assert len(sums) >= 3, f"{len(sums)} bulletins print sums"
found = intervals(cells, sums)
print(json.dumps({
    "cells": len(cells),
    "suppressed_cells": sum(cell["suppressed"] for cell in cells.values()),
    "page_sums": len(sums),
    "narrowest": min(high - low for low, high in found.values()),
    "narrow": [[*key, name, low, high] for (key, name), (low, high) in found.items() if high - low < floor],
    "with_a_total": bite(cells),
}))
