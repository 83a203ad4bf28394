"""Attacks on what a workspace made public, over all its times of issue, judged by the private truth.

    disclosure_attacks.py FOLDER --level survey [--boundaries REGION.geojson] [--table DISCLOSURE.md]
    disclosure_attacks.py --same FOLDER OTHER

FOLDER/truth/T/field_week.parquet and FOLDER/public/T/ (county_week.csv, elsewhere_week.csv, region_week.csv …) for T = 1, 2,
3 … in the order of issue. Which field is in which row is worked out from the truth by the rule, and every public row of every T
must come out of that, cell by cell. Prints one JSON object: what each attack reached, and which limits it broke (exit 1 for any).
--same lists the files in which two folders differ.
"""

import argparse
import copy
import filecmp
import json
import pathlib
import sys
from collections import Counter

from disclosure import add_arguments, add_moran, compare, read_csv, region_of, settings_of
from disclosure_intervals import attackers, between_editions, by_programs
from disclosure_knowledge import (
    changed_between, invented_neighbors, republication, steady_fields, treatment_days, whole_farms,
)
from disclosure_points import points
from disclosure_rebuild import rebuild
from disclosure_rule import SLACK, Ledger, differences, is_cell
from disclosure_tables import publish, read_field_weeks, tables

# The most that an attack may reach, as a share; the figures of attack C are by level and size of the row.
LIMITS = {
    "survey": {"under 5": 0.10, "5 to 9": 0.10, "10 or more": None, "10 or more, at threshold": None},
    "strict": {"under 5": 0.0, "5 to 9": 0.0, "10 or more": 0.08, "10 or more, at threshold": 0.20},
}


class Season:
    """The ledger at every time of issue, and all rows at the end."""

    def __init__(self, folder, settings, region):
        self.names, self.neighbors, districts = region
        self.ledger = Ledger(settings, districts)
        self.settings, self.folder = settings, folder
        self.times = sorted((path.name for path in (folder / "truth").iterdir()), key=int)
        self.truths, self.ledgers = [], []
        for time in self.times:
            weeks, known = read_field_weeks(folder / "truth" / time / "field_week.parquet")
            publish(self.ledger, weeks, known)
            self.truths.append(weeks)
            self.ledgers.append(copy.deepcopy(self.ledger))
        self.known = any(known.values())

    def rows(self):
        return [row for rows in self.ledger.rows.values() for row in rows.values()]

    def public(self, time, name):
        path = self.folder / "public" / time / f"{name}.csv"
        return read_csv(path) if path.exists() else []


def explained(season):
    """Whether every public row of every time is the one that the rule makes of the truth."""
    found, wrong = Counter(), []
    for time, ledger in zip(season.times, season.ledgers):
        ours = tables(ledger, season.names, season.neighbors)
        add_moran(ledger, ours, season.neighbors)
        for name, rows in ours.items():
            here = []
            compared = compare(name, rows, season.public(time, name), here)
            found["rows"] += compared["rows"]
            found["cells"] += compared["cells"]
            wrong += [f"time {time}: {text}" for text in here]
    return {**found, "differences": len(wrong), "first": wrong[:20]}


def disjoint(season):
    """Attack A: a field-week in two rows, or two public states of a row that differ by less than a cell."""
    found = Counter()
    for rows in season.ledger.rows.values():
        owners = Counter(field_id for row in rows.values() for field_id in row.members())
        found["field-weeks"] += len(owners)
        found["in two rows"] += sum(count > 1 for count in owners.values())
        for row in rows.values():
            for before, now in zip(row.editions, row.editions[1:]):
                found["second editions"] += 1
                for part in differences(before, now):
                    found["differences"] += bool(part)
                    if part and not is_cell(part, season.known, season.settings):
                        found["differences that are no cell"] += 1
    for at, time in enumerate(season.times):
        # Counted without the ledger: no week shows more fields than were ever visited in it by then.
        for key in season.truths[at]:
            visited = {field.field_id for truth in season.truths[:at + 1] for field in truth.get(key, []) if field.in_window}
            shown = sum(
                int(row["fields_visited"]) for name in ("county_week", "elsewhere_week") for row in season.public(time, name)
                if (row["iso_week"], row["protocol"]) == key
            )
            found["weeks with more fields than visited"] += shown > len(visited)
    return dict(found)


def old_formulas(season):
    """min = 3 mean - median - max, and n2 mean2 - n1 mean1 for a field that came late: what full figures gave away."""
    found = Counter()
    for at, time in enumerate(season.times):
        for row in season.public(time, "county_week"):
            key = row["county_id"], row["iso_week"], row["protocol"]
            fields = [field for field in season.truths[at].get(key[1:], []) if field.county_id == key[0]]
            now = [field.pressure for field in fields if field.in_window]
            if row.get("fields_visited") == "3":
                found["rows of 3 fields"] += 1
                if row.get("median_pressure") and row.get("max_pressure"):
                    mean, median, top = (float(row[f"{name}_pressure"]) for name in ("mean", "median", "max"))
                    got = sorted([3 * mean - median - top, median, top])
                    found["rows of 3 fields recovered"] += max(abs(a - b) for a, b in zip(got, sorted(now))) < 1e-9
            if at == 0 or not row.get("mean_pressure"):
                continue
            for old in season.public(season.times[at - 1], "county_week"):
                if (old["county_id"], old["iso_week"], old["protocol"]) != key or not old.get("mean_pressure"):
                    continue
                added = int(row["fields_visited"]) - int(old["fields_visited"])
                if added == 1:
                    found["rows with one field more"] += 1
                    sums = [float(one["mean_pressure"]) * int(one["fields_visited"]) for one in (row, old)]
                    got = sums[0] - sums[1]
                    found["field recovered"] += min(abs(got - value) for value in now) < 1e-9
    return dict(found)


def at_threshold(field):
    return field is not None and field.in_window and field.pressure >= 1 - SLACK


def last_days(season):
    """Whether the day up to which a row has visits is that of a single field of it."""
    found = Counter()
    for time, ledger in zip(season.times, season.ledgers):
        for name, kind in {"county_week": "county", "elsewhere_week": None}.items():
            for row in season.public(time, name):
                pool = ("district", row["district"]) if row.get("district") else ("region", "")
                place = (kind, row["county_id"]) if kind else pool
                ours = ledger.rows.get((row["iso_week"], row["protocol"]), {}).get(place)
                if ours is None or not row.get("visits_until"):
                    continue
                days = sorted((field.observed for field in ours.editions[-1].values()), reverse=True)
                found["rows"] += 1
                found["of these the last visit's day"] += row["visits_until"] == days[0].isoformat()
                found["of one field alone"] += row["visits_until"] == days[0].isoformat() != days[1].isoformat()
    return dict(found)


def all_others(season):
    """Attack B: rows from which a farm learns that all fields of others are at threshold, in one edition or between two."""
    found = Counter()
    for row in season.rows():
        for members, figures in zip(row.editions, row.figures):
            fields = [field for field in members.values() if field.in_window]
            for _, own in attackers(fields):
                others = len(fields) - len(own)
                found["rows by farms"] += 1
                if others:
                    found["all others known"] += figures["at_threshold_min"] - sum(map(at_threshold, own)) >= others
        if len(row.editions) == 2:
            pair(season, row, found)
    return dict(found)


def pair(season, row, found):
    """The fields that changed between two editions: each moves the count by at most one, up, down or either."""
    before, now = row.editions
    changed = [
        (before.get(name), now.get(name)) for name in sorted({*before, *now}) if before.get(name) != now.get(name)
    ]
    inside = lambda field: field is not None and field.in_window
    changed = [(old, new) for old, new in changed if inside(old) or inside(new)]
    low = row.figures[1]["at_threshold_min"] - row.figures[0]["at_threshold_max"]
    high = row.figures[1]["at_threshold_max"] - row.figures[0]["at_threshold_min"]
    for _, own in attackers([new or old for old, new in changed]):
        names = {field.field_id for field in own}
        mine = sum(at_threshold(new) - at_threshold(old) for old, new in changed if (new or old).field_id in names)
        others = [(old, new) for old, new in changed if (new or old).field_id not in names]
        up, down = sum(inside(new) for _, new in others), sum(inside(old) for old, _ in others)
        found["pairs of editions by farms"] += 1
        found["all others known between editions"] += bool(up and low - mine >= up) or bool(down and high - mine <= -down)


def attack(season):
    """Every attack by name."""
    rows, known, level = season.rows(), season.known, season.settings.level
    return {
        "rows": dict(Counter(f"{row.place[0]}, {len(row.editions)} editions" for row in rows)),
        "explained": explained(season),
        "A": disjoint(season),
        "old formulas": old_formulas(season),
        "B": all_others(season),
        "C": republication(rows, known, level),
        "C changed values": changed_between(rows, known, level),
        "C whole farms": whole_farms(rows, known, level),
        "C steady fields": steady_fields(rows, known, level),
        "C invented neighbors": invented_neighbors(rows, known, level),
        "C treatment weeks": treatment_days(rows, known, level),
        "D": by_programs(rows),
        "D editions": between_editions(rows),
        "E": rebuild(season),
        "points": points(season),
        "visits through": last_days(season),
    }


def broken_limits(found, level):
    """Every limit that an attack passed, in words."""
    broken = []

    def most(what, value, bound):
        if bound is not None and value > bound:
            broken.append(f"{what}: {value:.3g}, at most {bound:g}")

    most("rows that the rule does not explain", found["explained"]["differences"], 0)
    for name in ("in two rows", "differences that are no cell", "weeks with more fields than visited"):
        most(f"A, {name}", found["A"].get(name, 0), 0)
    for name in ("rows of 3 fields recovered", "field recovered"):
        most(f"A, {name}", found["old formulas"].get(name, 0), 0)
    if level == "strict":
        for name in ("all others known", "all others known between editions"):
            most(f"B, {name}", found["B"].get(name, 0), 0)
    below = [found["C"][name] for name in ("under 5", "5 to 9") if name in found["C"]]
    if level == "survey":
        fields = sum(one["fields"] for one in below)
        most("C, fields of rows below 10", sum(one["narrow"] for one in below) / max(1, fields), LIMITS[level]["under 5"])
    for name, one in found["C"].items():
        if level == "strict":
            most(f"C, {name}", one["narrow"] / max(1, one["fields"]), LIMITS[level][name])
    top = found["C"].get("10 or more")
    if top:
        share = top["at_threshold_narrow"] / max(1, top["at_threshold"])
        most("C, 10 or more, at threshold", share, LIMITS[level]["10 or more, at threshold"])
    for who in ("stranger", "grower", "grower of several fields"):
        most(f"D, {who}, a named field", found["D"][who].get("some named narrow", 0), 0)
    most("E, differences", found["E"]["differences"], 0)
    most("points of fewer than a cell", found["points"].get("cells too small", 0), 0)
    most("points that lack", found["points"].get("cells that lack", 0), 0)
    most("days of single fields", found["visits through"].get("of one field alone", 0), 0)
    return broken


def differing(one, other):
    """The files in which two folders differ, or that one alone has."""
    names = sorted({path.relative_to(folder) for folder in (one, other) for path in folder.rglob("*") if path.is_file()})
    return [
        str(name) for name in names
        if not ((one / name).is_file() and (other / name).is_file() and filecmp.cmp(one / name, other / name, shallow=False))
    ]


def main():
    if sys.argv[1:2] == ["--same"]:
        different = differing(*map(pathlib.Path, sys.argv[2:4]))
        print(json.dumps(different, indent=1))
        sys.exit(bool(different))
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=pathlib.Path)
    add_arguments(parser)
    arguments = parser.parse_args()
    region = region_of(
        arguments.boundaries, arguments.id_property, arguments.name_property, arguments.district_property
    )
    season = Season(arguments.folder, settings_of(arguments), region)
    found = {"level": arguments.level, **attack(season)}
    found["broken"] = broken_limits(found, arguments.level)
    print(json.dumps(found, indent=1))
    sys.exit(bool(found["broken"]))


if __name__ == "__main__":
    main()
