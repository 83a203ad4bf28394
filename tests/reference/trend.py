"""Seasons and their trends out of county_week.csv alone, held to county_season.csv and trend.csv.

    python trend.py FOLDER_OF_ROLLUP FOLDER_OF_TREND

Trends by pymannkendall and scipy. Prints as JSON how many rows and cells were compared, how often each verdict
came, and every difference. Nothing of the program's own arithmetic is used.
"""

import csv
import itertools
import json
import math
import sys
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np
import pymannkendall
from scipy import stats

FIGURES = ["first_at_half", "peak_week", "peak_pressure", "share_of_weeks_at_threshold", "pressure_per_week"]


def rows_of(path):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def by_week(rows):
    """Means over the counties shown: week → (share at threshold, mean pressure)."""
    weeks = defaultdict(list)
    for row in rows:
        if row["suppressed"] == "false" and int(row["fields_visited"]) > 0:
            weeks[int(row["iso_week"][-2:])].append((float(row["share_at_threshold"]), float(row["mean_pressure"])))
    return {week: np.mean(figures, axis=0) for week, figures in sorted(weeks.items())}


def season_of(rows):
    shown = [row for row in rows if row["suppressed"] == "false" and int(row["fields_visited"]) > 0]
    season = {
        "county_weeks_shown": len(shown),
        "county_weeks_suppressed": sum(row["suppressed"] == "true" for row in rows),
        "field_weeks": sum(int(row["fields_visited"]) for row in shown),
    }
    weeks = by_week(rows)
    if not weeks:
        return season
    pressures = {week: figures[1] for week, figures in weeks.items()}
    top = max(pressures.values())
    at_threshold = sum(pressure >= 1 - 1e-12 for pressure in pressures.values())
    joined = [(one, other) for one, other in itertools.pairwise(pressures) if other - one <= 2]
    covered = sum(other - one for one, other in joined)
    area = sum(np.trapezoid([pressures[one], pressures[other]], [one, other]) for one, other in joined)
    return season | {
        "first_at_threshold": next((week for week, figures in weeks.items() if figures[0] > 0), None),
        "first_at_half": next((week for week, pressure in pressures.items() if pressure >= 0.5), None),
        "peak_week": min(week for week, pressure in pressures.items() if pressure == top) if top > 0 else None,
        "peak_pressure": top,
        "weeks_with_figures": len(weeks),
        "weeks_at_threshold": at_threshold,
        "share_of_weeks_at_threshold": at_threshold / len(weeks),
        "pressure_weeks": area if covered else None,
        "weeks_covered": covered,
        "pressure_per_week": area / covered if covered else None,
    }


def s_of(values):
    return sum(int(np.sign(later - earlier)) for earlier, later in itertools.combinations(values, 2))


def p_value(values):
    """Every order of up to eight values gone through; pymannkendall's beyond."""
    if len(values) > 8:
        return pymannkendall.original_test(values).p
    found = abs(s_of(values))
    orders = [abs(s_of(order)) >= found for order in itertools.permutations(values)]
    return sum(orders) / len(orders)


def trend_of(moments):
    trend = {"seasons": len(moments), "first_season": None, "last_season": None}
    if moments:
        trend |= {"first_season": moments[0][0], "last_season": moments[-1][0]}
    if len(moments) < 2:
        return trend
    years, values = zip(*moments)
    return trend | {
        "s": pymannkendall.original_test(values).s,
        "z": pymannkendall.original_test(values).z,
        "p_value": p_value(values),
        "tau_b": stats.kendalltau(range(len(values)), values).statistic if len(set(values)) > 1 else None,
        "slope": stats.theilslopes(values, years)[0],
    }


def verdict_of(row):
    """From the probabilities beside it, of which p_value is recomputed here."""
    if int(row["seasons"]) < 4:
        return "too-few-seasons"
    chance = max(float(row["p_value"]), float(row["p_corrected"] or 0))
    if chance > 1 - 0.95:
        return "not-told"
    return "rises" if int(row["s"]) > 0 else "falls"


def same(found, expected):
    if expected is None or (isinstance(expected, float) and math.isnan(expected)):
        return found == ""
    return found != "" and math.isclose(float(found), float(expected), rel_tol=1e-9, abs_tol=1e-12)


def main(rollup, trend):
    groups = defaultdict(list)
    for row in rows_of(Path(rollup) / "county_week.csv"):
        for county in ("", row["county_id"]):
            groups[county, row["protocol"], int(row["season"])].append(row)
    seasons = {key: season_of(rows) for key, rows in groups.items()}
    differences, cells, verdicts = [], 0, Counter()

    def compare(key, row, expected):
        nonlocal cells
        for name, value in expected.items():
            cells += 1
            if not same(row[name], value):
                differences.append(f"{key} {name}: {row[name]} and not {value}")

    season_rows = rows_of(Path(trend) / "county_season.csv")
    empty = [name for name in season_rows[0] if name not in ("county_id", "county_name", "protocol", "season")]
    keys = [(row["county_id"], row["protocol"], int(row["season"])) for row in season_rows]
    if sorted(keys) != sorted(seasons):
        differences.append("county_season has other rows")
    for key, row in zip(keys, season_rows):
        compare(key, row, dict.fromkeys(empty) | seasons[key])

    trend_rows = rows_of(Path(trend) / "trend.csv")
    keys = [(row["county_id"], row["protocol"], row["figure"]) for row in trend_rows]
    places = {key[:2] for key in seasons}
    if sorted(keys) != sorted((*place, figure) for place in places for figure in FIGURES):
        differences.append("trend has other rows")
    for key, row in zip(keys, trend_rows):
        own = sorted((season, figures.get(key[2])) for (*place, season), figures in seasons.items() if tuple(place) == key[:2])
        compare(key, row, trend_of([moment for moment in own if moment[1] is not None]))
        verdicts[row["verdict"]] += 1
        if row["verdict"] != verdict_of(row):
            differences.append(f"{key} verdict: {row['verdict']} and not {verdict_of(row)}")
    print(json.dumps({"seasons": len(season_rows), "trends": len(trend_rows), "cells": cells,
                      "verdicts": verdicts, "differences": differences}))


main(*sys.argv[1:])
