"""Attack E: the tables of districts and the region, and the smoothed shares built again from the rows that are public, and nothing else.

Texts must be the same to the byte, but for share_smoothed and Moran's I, which are sums in an order of their own: those to 1e-9.
"""

from collections import Counter, defaultdict

from disclosure import equal
from disclosure_rule import over_third, wilson
from disclosure_tables import moran
from further_figures import smoothed

NEAR = {"share_smoothed", "share_own_weight", "over_third_low", "over_third_high", "moran_i"}


def text(value):
    """A value as a CSV of the program has it."""
    return "" if value is None else repr(float(value)) if isinstance(value, float) else str(value)


def differs(name, ours, theirs):
    return not equal(ours, theirs) if name in NEAR else text(ours) != theirs


def number(row, name):
    return float(row[name]) if row[name] else None


def sums(counties, others):
    """What rows of counties, and of fields elsewhere, come to."""
    rows = [*counties, *others]
    total = {
        name: sum(int(row[name]) for row in rows)
        for name in ("fields_visited", "at_threshold_min", "at_threshold_max")
    }
    n = total["fields_visited"]
    return {
        "counties_shown": len(counties), "elsewhere_rows": len(others),
        "places_at_threshold": sum(int(row["at_threshold_min"]) > 0 for row in rows), **total,
        "share_low": wilson(total["at_threshold_min"], n)[0] if n else None,
        "share_high": wilson(total["at_threshold_max"], n)[1] if n else None,
    }


def of_week(counties, others, neighbors):
    """The line of region_week, the lines of region_median, and share_smoothed by county."""
    values = {
        row["county_id"]: {
            "median_class": row["median_class"] or None,
            "median_from": number(row, "median_from"), "median_below": number(row, "median_below"),
        }
        for row in counties
    }
    linked, statistic = moran(values, neighbors)
    line = {**sums(counties, others), "moran_counties": linked, "moran_i": statistic}
    classes = Counter(
        (row["median_class"], row["median_from"], row["median_below"]) for row in counties if row["median_class"]
    )
    counts = {
        row["county_id"]: ((int(row["at_threshold_min"]) + int(row["at_threshold_max"])) / 2, int(row["fields_visited"]))
        for row in counties
    }
    return line, classes, smoothed(counts)


def rebuild(season):
    """How many cells are the same and how many differ, over all times of issue."""
    found, first = Counter(), []

    def judge(where, name, ours, theirs):
        found["cells"] += 1
        if differs(name, ours, theirs):
            found["differences"] += 1
            first.append(f"{where} {name}: built {text(ours) or 'null'}, public {theirs or 'null'}")

    for time in season.times:
        weeks = defaultdict(lambda: ([], []))
        for place, name in enumerate(["county_week", "elsewhere_week"]):
            for row in season.public(time, name):
                weeks[row["iso_week"], row["protocol"]][place].append(row)
        classes = defaultdict(Counter)
        for row in season.public(time, "region_median"):
            key = row["median_class"], row["median_from"], row["median_below"]
            classes[row["iso_week"], row["protocol"]][key] = int(row["counties"])
        of_district = {
            (row["district"], row["iso_week"], row["protocol"]): row for row in season.public(time, "district_week")
        }
        for key, rows in weeks.items():
            names = {row["district"] for place in rows for row in place} - {""}
            found["differences"] += len(names ^ {district for district, *week in of_district if tuple(week) == key})
            for name in sorted(names):
                line = sums(*([row for row in place if row["district"] == name] for place in rows))
                for column, value in line.items():
                    judge(f"time {time}, {name} {' '.join(key)}", column, value, of_district.get((name, *key), {}).get(column))
        lines = {(row["iso_week"], row["protocol"]): row for row in season.public(time, "region_week")}
        found["differences"] += len(lines.keys() ^ weeks.keys())
        for key in sorted(lines.keys() & weeks.keys()):
            where = f"time {time}, {' '.join(key)}"
            line, of_class, shares = of_week(*weeks[key], season.neighbors)
            for name, value in line.items():
                judge(where, name, value, lines[key][name])
            judge(where, "region_median", str(sorted(of_class.items())), str(sorted(classes[key].items())))
            for row in weeks[key][0]:
                county = f"{where} {row['county_id']}"
                for name, value in zip(("share_smoothed", "share_own_weight"), shares.get(row["county_id"], (None, None))):
                    judge(county, name, value, row[name])
                for name, end in (("over_third_low", "at_threshold_min"), ("over_third_high", "at_threshold_max")):
                    found_there, visited = int(row[end]), int(row["fields_visited"])
                    judge(county, name, over_third(found_there, visited) if visited else None, row[name])
    return {"cells": found["cells"], "differences": found["differences"], "first": first[:20]}
