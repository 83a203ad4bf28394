"""Seasons and their trends out of county_week.csv alone, compared with the tables of `bractline trend`.

    python trend.py PUBLIC_FOLDER_OF_ROLLUP PUBLIC_FOLDER_OF_TREND [WEATHER]

The pressure of a county and week is the middle of the class of its median, of the highest class its lower bound, and its
share the middle of the least and the most fields at threshold; rows without a class are left out. Trends by
pymannkendall and scipy, ranks among earlier seasons by scipy, lines between weeks by numpy. WEATHER is a plain CSV of one
station for all counties; without it there are no degree-days. Prints as JSON how many rows and cells were compared, how
often each verdict came, and every difference. Nothing of the program's own arithmetic is used.
"""

import csv
import datetime
import functools
import itertools
import json
import math
import sys
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np
import pymannkendall
from scipy import optimize, stats

FIGURES = ["first_at_half", "peak_week", "share_of_fields_at_threshold", "pressure_weeks", "pressure_per_week"]
# What a season has to have for these: else it never got there.
REACHED = {"first_at_half": "first_at_half", "peak_week": "peak_week", "first_at_half_heat": "first_at_half", "peak_heat": "peak_week"}
HEAT_FIGURES = ["first_at_half_heat", "peak_heat", "mean_pressure_by_heat"]
KEYS = ("county_id", "county_name", "protocol", "season")
# Manitoba Agriculture, Food and Rural Development 2014: heat of sunflower counts above 6.7 °C, mean less base.
BASE_C = 6.7


def rows_of(path):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def middle_of_class(row):
    """One number for the class of a median, read from its name: nothing-found, 0.25-0.5 or 3+."""
    name = row["median_class"]
    if name == "nothing-found":
        return 0.0
    bounds = [float(bound) for bound in name.rstrip("+").split("-")]
    given = [float(row[column]) for column in ("median_from", "median_below") if row[column]]
    assert bounds == given, row
    return sum(bounds) / len(bounds)


def middle_of_share(row):
    return (int(row["at_threshold_min"]) + int(row["at_threshold_max"])) / 2 / int(row["fields_visited"])


def with_class(rows):
    return [row for row in rows if row["median_class"]]


def by_week(rows):
    """Means over the counties with a class: week → (share at threshold, pressure)."""
    weeks = defaultdict(list)
    for row in with_class(rows):
        weeks[int(row["iso_week"][-2:])].append((middle_of_share(row), middle_of_class(row)))
    return {week: np.mean(figures, axis=0) for week, figures in sorted(weeks.items())}


def season_of(rows):
    shown = with_class(rows)
    season = {
        "county_weeks_shown": len(shown),
        "field_weeks": sum(int(row["fields_visited"]) for row in shown),
    }
    at_threshold = sum(int(row["at_threshold_min"]) + int(row["at_threshold_max"]) for row in shown) / 2
    if season["field_weeks"]:
        season["share_of_fields_at_threshold"] = at_threshold / season["field_weeks"]
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


def heat_of(path):
    """Week → degree-days from January 1 to its Thursday, or to the last day of the record if it ends earlier in the week; weeks
    that lack a day of it are left out."""
    days = {row["date"]: max(0, (float(row["tmin_c"]) + float(row["tmax_c"])) / 2 - BASE_C) for row in rows_of(path)}

    def until_thursday(season, week):
        thursday = min(datetime.date.fromisocalendar(season, week, 4), datetime.date.fromisoformat(max(days)))
        if thursday < datetime.date.fromisocalendar(season, week, 1):
            return None
        first = datetime.date(thursday.year, 1, 1)
        dates = [str(first + datetime.timedelta(number)) for number in range((thursday - first).days + 1)]
        return math.fsum(days[day] for day in dates) if all(day in days for day in dates) else None

    return until_thursday


def season_by_heat(rows, season, heat):
    weeks = by_week(rows)
    known = {week: heat(season, week) for week in weeks}
    if all(value is None for value in known.values()):
        return {}
    calendar = season_of(rows)
    at = lambda week: None if week is None else known[week]
    area = covered = 0
    for one, other in itertools.pairwise(weeks):
        if other - one <= 2 and known[one] is not None and known[other] is not None:
            area += np.trapezoid([weeks[one][1], weeks[other][1]], [known[one], known[other]])
            covered += known[other] - known[one]
    return {
        "first_at_threshold_heat": at(calendar["first_at_threshold"]),
        "first_at_half_heat": at(calendar["first_at_half"]),
        "peak_heat": at(calendar["peak_week"]),
        "weeks_with_heat": sum(value is not None for value in known.values()),
        "pressure_heat": area if covered else None,
        "heat_covered": covered if covered else None,
        "mean_pressure_by_heat": area / covered if covered else None,
    }


def at_heat(rows, season, heat, wanted):
    """The pressure of a season at a heat sum, on a line between joined weeks."""
    weeks = [(week, heat(season, week), figures[1]) for week, figures in by_week(rows).items()]
    weeks = [week for week in weeks if week[1] is not None]
    for one, other in itertools.pairwise(weeks):
        if other[0] - one[0] <= 2 and one[1] <= wanted <= other[1]:
            return np.interp(wanted, [one[1], other[1]], [one[2], other[2]])
    return next((pressure for _, known, pressure in weeks if known == wanted), None)


def place_of(pressure, earlier, suffix=""):
    place = stats.rankdata([-value for value in [pressure, *earlier]], method="min")[0] if len(earlier) >= 4 else None
    seasons = "earlier_seasons" if not suffix else f"earlier{suffix}"
    return {
        seasons: len(earlier),
        f"earlier_below{suffix}": sum(value < pressure for value in earlier),
        f"earlier_level{suffix}": sum(value == pressure for value in earlier),
        f"rank{suffix}": place,
    }


def week_of(groups, place, season, week, heat):
    """One row of season_week: its figures and its rank among the seasons before."""
    rows = groups[*place, season]
    share, pressure = by_week(rows)[week]
    before = {year: rows for (*other, year), rows in groups.items() if tuple(other) == place and year < season}
    same_week = [by_week(rows)[week][1] for rows in before.values() if week in by_week(rows)]
    own = heat(season, week)
    row = {"share_at_threshold": share, "pressure": pressure, "heat": own} | place_of(pressure, same_week)
    if own is None:
        return row | dict.fromkeys(f"{name}_at_heat" for name in ("earlier", "earlier_below", "earlier_level", "rank"))
    values = [at_heat(rows, year, heat, own) for year, rows in before.items()]
    return row | place_of(pressure, [value for value in values if value is not None], "_at_heat")


def s_of(values):
    return sum(int(np.sign(later - earlier)) for earlier, later in itertools.combinations(values, 2))


def p_value(values):
    """Exact, over every order of up to eight values; pymannkendall's beyond."""
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


def random_series(seasons, memory, slope=0.0, series=200_000):
    """Normal AR(1) series with a standard deviation of 1, in rows, from a fixed seed."""
    chance = np.random.default_rng(20260721).normal(size=(series, seasons))
    for season in range(1, seasons):
        chance[:, season] = memory * chance[:, season - 1] + math.sqrt(1 - memory**2) * chance[:, season]
    return chance + slope * np.arange(seasons)


def scores(series):
    return sum(np.sign(series[:, later] - series[:, one]) for one, later in itertools.combinations(range(series.shape[1]), 2))


@functools.cache
def score_needed(seasons):
    """The least size of S that at most 5% of series with memory 0.7 reach; else the highest there is."""
    sizes = np.abs(scores(random_series(seasons, 0.7)))
    pairs = seasons * (seasons - 1) // 2
    enough = [score for score in range(pairs % 2, pairs + 1, 2) if np.mean(sizes >= score) <= 0.05]
    return min(enough, default=pairs)


@functools.cache
def slope_detectable(seasons):
    """The slope, in standard deviations a season, that 80% of series without memory show."""
    power = lambda slope: np.mean(scores(random_series(seasons, 0.0, slope, 20_000)) >= score_needed(seasons)) - 0.8
    return optimize.brentq(power, 0, 10, xtol=1e-3)


def further_of(row, moments):
    """What the row says of its verdict, and of what it could not see."""
    seasons = len(moments)
    if seasons < 5:
        return "too-few-seasons", dict.fromkeys(["s_needed", "slope_low", "slope_high", "slope_detectable"])
    needed = score_needed(seasons)
    years, values = (np.array(part, float) for part in zip(*moments))
    pairs = sorted((values[b] - values[a]) / (years[b] - years[a]) for a, b in itertools.combinations(range(seasons), 2))
    # A slope is rejected if what it leaves over has a score of this size. Of the others the least and the greatest are
    # wanted: where slopes between two pairs' are not rejected but the pairs' are, these are the ends all the same.
    def kept(slope):
        return abs(sum(np.sign(np.round(one - slope, 12)) for one in pairs)) < needed

    ends = [slope for slope in pairs if kept(slope)]
    for one, other in itertools.pairwise(pairs):
        if other - one > 1e-12 and kept((one + other) / 2):
            ends += [one, other]
    rest = values - stats.theilslopes(values, years)[0] * years
    scatter = math.sqrt(np.sum((rest - rest.mean()) ** 2) / (seasons - 2))
    verdict = "not-significant" if abs(int(row["s"])) < needed else "rises" if int(row["s"]) > 0 else "falls"
    seen = slope_detectable(seasons) * scatter if scatter > 1e-12 else None
    return verdict, {"s_needed": needed, "slope_low": min(ends), "slope_high": max(ends), "slope_detectable": seen}


def same(found, expected):
    if expected is None or (isinstance(expected, float) and math.isnan(expected)):
        return found == ""
    return found != "" and math.isclose(float(found), float(expected), rel_tol=1e-9, abs_tol=1e-12)


def main(rollup, trend, weather=None):
    heat = heat_of(weather) if weather else lambda season, week: None
    groups = defaultdict(list)
    for row in rows_of(Path(rollup) / "county_week.csv"):
        for county in ("", row["county_id"]):
            groups[county, row["protocol"], int(row["season"])].append(row)
    by_heat = {key: season_by_heat(rows, key[2], heat) for key, rows in groups.items()}
    seasons = {key: season_of(rows) for key, rows in groups.items()}
    differences, cells, verdicts = [], 0, Counter()

    def compare(key, row, expected):
        nonlocal cells
        for name, value in expected.items():
            cells += 1
            if not same(row[name], value):
                differences.append(f"{key} {name}: {row[name]} and not {value}")

    season_rows = rows_of(Path(trend) / "county_season.csv")
    keys = [(row["county_id"], row["protocol"], int(row["season"])) for row in season_rows]
    if sorted(keys) != sorted(seasons):
        differences.append("county_season has other rows")
    for key, row in zip(keys, season_rows):
        compare(key, row, dict.fromkeys(name for name in row if name not in KEYS) | seasons[key])

    heat_rows = rows_of(Path(trend) / "county_season_heat.csv")
    if [(row["county_id"], row["protocol"], int(row["season"])) for row in heat_rows] != keys:
        differences.append("county_season_heat has other rows")
    for key, row in zip(keys, heat_rows):
        compare(key, row, dict.fromkeys(name for name in row if name not in KEYS) | by_heat[key])

    week_rows = rows_of(Path(trend) / "season_week.csv")
    if len(week_rows) != sum(len(by_week(rows)) for rows in groups.values()):
        differences.append("season_week has other rows")
    for row in week_rows:
        place, season, week = (row["county_id"], row["protocol"]), int(row["season"]), int(row["iso_week"][-2:])
        compare((*place, row["iso_week"]), row, week_of(groups, place, season, week, heat))

    trend_rows = rows_of(Path(trend) / "trend.csv")
    keys = [(row["county_id"], row["protocol"], row["figure"]) for row in trend_rows]
    places = {key[:2] for key in seasons}
    figures = FIGURES + (HEAT_FIGURES if any(by_heat.values()) else [])
    if sorted(keys) != sorted((*place, figure) for place in places for figure in figures):
        differences.append("trend has other rows")
    for key, row in zip(keys, trend_rows):
        of_season = {season: seasons[*place, season] | by_heat[*place, season] for (*place, season) in seasons if tuple(place) == key[:2]}
        own = sorted((season, figures.get(key[2])) for season, figures in of_season.items())
        moments = [moment for moment in own if moment[1] is not None]
        verdicts[row["verdict"]] += 1
        week = REACHED.get(key[2])
        if len(of_season) >= 5 and week and any(figures.get(week, 0) is None for figures in of_season.values()):
            head = ("county_id", "county_name", "protocol", "figure", "seasons", "first_season", "last_season", "verdict")
            compare(key, row, dict.fromkeys(name for name in row if name not in head))
            if row["verdict"] != "not-reached" or int(row["seasons"]) != len(moments):
                differences.append(f"{key} verdict: {row['verdict']} and not not-reached")
            continue
        compare(key, row, trend_of(moments))
        verdict, further = further_of(row, moments)
        seen = further.pop("slope_detectable")
        compare(key, row, further)
        # Two simulations of one slope.
        if (seen is None) != (row["slope_detectable"] == "") or (seen and not math.isclose(float(row["slope_detectable"]), seen, rel_tol=0.03)):
            differences.append(f"{key} slope_detectable: {row['slope_detectable']} and not {seen}")
        if row["verdict"] != verdict:
            differences.append(f"{key} verdict: {row['verdict']} and not {verdict}")
    places = sum(row["rank"] != "" for row in week_rows), sum(row["rank_at_heat"] != "" for row in week_rows)
    print(json.dumps({"seasons": len(season_rows), "trends": len(trend_rows), "cells": cells, "places": places,
                      "verdicts": verdicts, "differences": differences}))


main(*sys.argv[1:])
