"""Figures of single fields, computed again with numpy, scipy and pyarrow; shares no code with bractline.

field_figures.py rows FIELD_WEEK
    The rows of field_week.parquet as JSON, days as text.
field_figures.py law FIELD_WEEK SEASON PROTOCOL
    Taylor's power law of the means of sites over the visits of a season: b by least squares of the logarithms,
    a as the mean of variance / mean^b (Duan 1983), and how many visits the fit is based on.
field_figures.py certainty VISITS
    Of each visit of an NDJSON file, all of one season: what the season's clumping says of it.
field_figures.py hatch VISITS
    Of each visit: the days on which the eggs that it found hatch. They were laid over the days before the visit, so the
    span begins on its day and ends after the longest time that an egg takes; no span where no egg was found.
field_figures.py windows VISITS WEATHER [STATION]
    Of each visit: the days on which its field is expected at R5.1, by the temperatures of a station that are known
    at the end of the visit's week. WEATHER is a plain CSV, or rows of GHCN-Daily where STATION is given.
"""

import csv
import datetime
import json
import math
import sys

import numpy as np
import pyarrow.parquet as parquet

import clumped_fields

# Manitoba Agriculture, Food and Rural Development 2014: degree-days above 6.7 °C from planting until a plant
# enters the stage. A field seen at R3 may have entered it today or leave it tomorrow.
BASE_C = 6.7
HEAT = {"R2": (647, 726), "R3": (726, 805)}
TREATMENT = 883
# Crop & Pest Report, North Dakota State University, July 2015: an egg hatches 5 to 8 days after it is laid.
HATCH_DAYS_MAX = 8
# Choices of the program, stated in its documentation: days whose heat represents the days to come, and their
# 90th and 10th percentile for the earliest and the latest date.
OUTLOOK_DAYS = 14


def rows(path):
    table = parquet.read_table(path).to_pylist()
    day = lambda value: value.isoformat() if isinstance(value, datetime.date) else value
    return [{name: day(value) for name, value in row.items()} for row in table]


def law(path, season, protocol):
    used = [
        (row["field_mean"], row["variance_between_sites"])
        for row in rows(path)
        if row["season"] == int(season) and row["protocol"] == protocol
        if row["variance_between_sites"] and row["field_mean"] > 0
    ]
    means, variances = np.array(used).T
    b, _ = np.polyfit(np.log(means), np.log(variances), 1)
    a = np.mean(variances / means**b)
    return {"samples": len(used), "a": a, "b": b}


def site_means(visit):
    return [np.mean([sum(head) for head in site["heads"]]) for site in visit["sites"]]


def threshold(visit):
    """Eggs per six bracts, in US units: J. Econ. Entomol. 101(3):969-975 (2008)."""
    economics = visit["economics"]
    cost = economics["treatment_cost"]["amount"]
    price = economics["market_value"]["amount"]
    plants = economics["plant_population"]["count"]
    return cost / (price * plants * 0.00078)


def certainty(path):
    fields = {}
    for visit in visits_of(path):
        means = np.array(site_means(visit))
        several = len(means) > 1
        fields[visit["visit_id"]] = {
            "season": visit["observed_on"][:4],
            "protocol": visit["protocol"],
            "in_window": visit["crop_stage"] in HEAT,
            "after_treatment": False,
            "sites": len(means),
            "units": sum(len(site["heads"]) for site in visit["sites"]),
            "mean": means.mean(),
            "variance": means.var(ddof=1) if several else None,
            "threshold": threshold(visit),
        }
    return dict(zip(fields, clumped_fields.figures(list(fields.values()))))


def hatch(visit):
    if not sum(sum(sum(head) for head in site["heads"]) for site in visit["sites"]):
        return {"hatch_from": None, "hatch_to": None}
    on = datetime.date.fromisoformat(visit["observed_on"])
    youngest = on + datetime.timedelta(days=HATCH_DAYS_MAX)
    return {"hatch_from": on.isoformat(), "hatch_to": youngest.isoformat()}


def temperatures(path, station):
    """Day -> (minimum, maximum), °C."""
    days = {}
    with open(path, newline="") as file:
        if station is None:
            for row in csv.DictReader(file):
                day = datetime.date.fromisoformat(row["date"])
                days[day] = (float(row["tmin_c"]), float(row["tmax_c"]))
            return days
        for name, day, element, value, *_ in csv.reader(file):
            if name == station and element in ("TMIN", "TMAX"):
                day = datetime.datetime.strptime(day, "%Y%m%d").date()
                days.setdefault(day, {})[element] = int(value) / 10
    return {day: (of["TMIN"], of["TMAX"]) for day, of in days.items()}


def window(visit, days):
    on = datetime.date.fromisoformat(visit["observed_on"])
    sunday = on + datetime.timedelta(days=7 - on.isoweekday())
    heat = {day: max(0.0, sum(pair) / 2 - BASE_C) for day, pair in days.items() if day <= sunday}
    latest = [heat[day] for day in sorted(heat)[-OUTLOOK_DAYS:]]
    cool, warm = np.percentile(latest, [10, 90])
    entered, left = HEAT[visit["crop_stage"]]

    def reached(day, needed, to_come):
        total = heat.get(day, to_come)
        while total < needed - 1e-9:
            day += datetime.timedelta(days=1)
            total += heat.get(day, to_come)
        return day.isoformat()

    # The visit date counts for the earliest date and not for the latest.
    return {
        "window_opens": reached(on, TREATMENT - left, warm),
        "window_closes": reached(on + datetime.timedelta(days=1), TREATMENT - entered, cool),
    }


def visits_of(path):
    with open(path) as file:
        return [json.loads(line) for line in file]


def main(subject, path, *more):
    if subject == "rows":
        return rows(path)
    if subject == "law":
        return law(path, *more)
    if subject == "certainty":
        return certainty(path)
    if subject == "hatch":
        return {visit["visit_id"]: hatch(visit) for visit in visits_of(path)}
    weather, *station = more
    days = temperatures(weather, station[0] if station else None)
    return {visit["visit_id"]: window(visit, days) for visit in visits_of(path)}


print(json.dumps(main(*sys.argv[1:])))
