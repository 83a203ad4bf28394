"""County-weeks from the visit records themselves: an independent reference for the roll-up.

Written from the design, in plain Python (json, numpy, pandas, shapely); shares no code with
bractline. It knows one protocol, bsm-eggs, and reads NDJSON files in the order in which they were
loaded. It writes county_week_full.csv, the private table of every county-week in full precision, and
held.csv, which says why a record was held; it prints {"received", "accepted", "duplicate", "held"}.
What of these figures may be public is the subject of disclosure.py.

Money, populations, areas and means are exact fractions of the numbers as they were written, so a
field that is exactly at its threshold counts as at threshold.
"""

import argparse
import collections
import datetime
import gzip
import json
import math
import pathlib
import re
import sys
from fractions import Fraction

import numpy as np
import pandas as pd
from jsonschema import Draft202012Validator

from boundaries import read_counties
from further_figures import FURTHER, FURTHER_COUNTS, add_further_figures

SCHEMA = pathlib.Path(__file__).parents[2] / "schemas" / "visit.schema.json"

PROTOCOL = "bsm-eggs"
BRACTS_OF_HEAD = 6
STAGE_SCALE = re.compile(r"VE|V[1-9][0-9]*|R[1-9]|R5\.[0-9]")
STAGE_WINDOW = {"R2", "R3"}
# Counts from the day of a treatment to so many days later are left out; those of a treatment without a date, too.
DAYS_AFTER_TREATMENT = 14

# Exact by definition: the international acre and the avoirdupois pound.
HA_OF_ACRE = Fraction("0.40468564224")
KG_OF_LB = Fraction("0.45359237")
# Loss in lb of seed a plant for each egg per six bracts, J. Econ. Entomol. 101(3):969-975 (2008):
# 0.00044 kg a plant x 0.8 efficacy = 0.000776 lb, rounded to 0.00078 in the form for US units.
LOSS_LB_OF_EGG = Fraction("0.00078")
# The 0.975 quantile of the standard normal distribution.
Z = 1.959963984540054

FIGURES = [
    "fields_visited", "fields_at_threshold", "share_at_threshold", "share_low", "share_high",
    "mean_pressure", "median_pressure", "p90_pressure", "max_pressure",
    "area_share_at_threshold", "fields_outside_stage", "fields_treated", "fields_with_assumed_economics",
]
KEY = ["county_id", "county_name", "season", "iso_week", "protocol"]
FARMS = ["farms_given", "farms"]
COUNTS = [
    *FARMS, "fields_visited", "fields_at_threshold", "fields_outside_stage", "fields_treated",
    "fields_with_assumed_economics",
]
ECONOMICS = ("treatment_cost", "market_value", "plant_population")


# --- Reading -----------------------------------------------------------------------------------


def read_records(paths):
    """Yields (path, line number, bytes) of every line that is not blank."""
    for path in paths:
        opened = gzip.open(path, "rb") if str(path).endswith(".gz") else open(path, "rb")
        with opened as file:
            for number, line in enumerate(file, start=1):
                if line.strip():
                    yield path, number, line


def refuse_repeated_members(pairs):
    members = dict(pairs)
    if len(members) != len(pairs):
        raise ValueError("a member appears twice")
    return members


def refuse_constant(name):
    raise ValueError(f"{name} is not JSON")


def parse(line):
    """The JSON document of a line; ValueError if it is none."""
    text = line.decode("utf-8")
    try:
        document = json.loads(
            text,
            object_pairs_hook=refuse_repeated_members,
            parse_constant=refuse_constant,
        )
    except RecursionError:
        raise ValueError("nested too deep") from None
    # A lone surrogate passes json.loads, but is no character.
    json.dumps(document, ensure_ascii=False).encode("utf-8")
    return document


# --- What a visit says -------------------------------------------------------------------------


def exact(number):
    """The number as it was written, since repr gives the shortest text that reads back."""
    return Fraction(repr(number))


def lacking(visit):
    """The members of the economics that the record does not give."""
    return [name for name in ECONOMICS if name not in visit.get("economics", {})]


def filled(visit, defaults):
    """The visit with what its economics lack taken from the defaults of its crop type, where they
    have it."""
    economics = {**defaults.get(visit["field"]["crop_type"], {}), **visit.get("economics", {})}
    return {**visit, "economics": economics}


def canonical_economics(visit):
    """Money per hectare, money per kilogram, plants per hectare."""
    cost = visit["economics"]["treatment_cost"]
    value = visit["economics"]["market_value"]
    plants = visit["economics"]["plant_population"]
    cost_per_ha = exact(cost["amount"]) / (HA_OF_ACRE if cost["per"] == "acre" else 1)
    value_per_kg = exact(value["amount"]) / (KG_OF_LB if value["per"] == "lb" else 1)
    plants_per_ha = exact(plants["count"]) / (HA_OF_ACRE if plants["per"] == "acre" else 1)
    return cost_per_ha, value_per_kg, plants_per_ha


def threshold(visit):
    """Economic injury level in eggs per six bracts.

    In the units of the publication: cost per acre / (value per lb x plants per acre x 0.00078).
    Per hectare and kilogram the acres cancel and one pound stays.
    """
    cost_per_ha, value_per_kg, plants_per_ha = canonical_economics(visit)
    return cost_per_ha / (value_per_kg * plants_per_ha * LOSS_LB_OF_EGG * KG_OF_LB)


def site_means(visit):
    """Means of the head totals of the sites, in eggs per six bracts."""
    means = []
    for site in visit["sites"]:
        totals = [sum(int(count) for count in head) for head in site["heads"]]
        means.append(Fraction(sum(totals), len(totals)))
    return means


def field_mean(visit):
    """Mean of the site means."""
    means = site_means(visit)
    return sum(means) / len(means)


def iso_week(visit):
    """(season, week): ISO week-year and week, as (2026, "2026-W30")."""
    year, week, _ = datetime.date.fromisoformat(visit["observed_on"]).isocalendar()
    return year, f"{year}-W{week:02d}"


def days_since_treatment(visit):
    day = datetime.date.fromisoformat
    return (day(visit["observed_on"]) - day(visit["treated_on"])).days


def after_treatment(visit):
    """Whether the counts follow a treatment that left them no measure of pressure."""
    if "treated_on" in visit:
        return days_since_treatment(visit) <= DAYS_AFTER_TREATMENT
    return visit.get("treatment", "none") != "none"


# --- Which records count -----------------------------------------------------------------------


def broken_rule(visit, season_days, bounds):
    """The code of the first trade rule that the visit breaks, None if it breaks none."""
    if visit["protocol"] != PROTOCOL:
        return "protocol-unknown"
    for site in visit["sites"]:
        if "heads" not in site:
            return "count-form-wrong"
        if any(len(head) != BRACTS_OF_HEAD for head in site["heads"]):
            return "counts-per-head-wrong"
    first, last = season_days
    if not first <= visit["observed_on"][5:] <= last:
        return "outside-season"
    # The day that the sender wrote, in whatever zone.
    if visit["observed_on"] > visit["submitted_at"][:10]:
        return "after-submission"
    treated_on = visit.get("treated_on")
    if treated_on is not None:
        if days_since_treatment(visit) < 0:
            return "treated-after-visit"
        if days_since_treatment(visit) > 180:
            return "treated-long-before-visit"
        if visit.get("treatment") == "none":
            return "untreated-with-date"
    if not STAGE_SCALE.fullmatch(visit["crop_stage"]):
        return "stage-not-on-scale"
    if lacking(visit):
        return "economics-missing"
    names = ("treatment_cost_per_ha", "market_value_per_kg", "plants_per_ha", "area_ha")
    amounts = (*canonical_economics(visit), exact(visit["field"]["area_ha"]))
    for name, amount in zip(names, amounts):
        low, high = bounds.get(name, (0, math.inf))
        if not low <= amount <= high:
            return name.replace("_", "-") + "-implausible"
    return None


def take_in(records, counties, season_days, bounds, defaults={}):
    """Decides every record. Gives the receipt, the accepted visits, and what was held and why.

    Accepted is a mapping from (visit_id, revision) to (visit, county id).
    """
    with open(SCHEMA, encoding="utf-8") as file:
        validator = Draft202012Validator(
            json.load(file), format_checker=Draft202012Validator.FORMAT_CHECKER
        )
    judged = []
    for path, number, line in records:
        visit, reason = None, None
        try:
            visit = parse(line)
        except ValueError:
            reason = "not-json"
        if reason is None:
            reason = (
                broken_rule(filled(visit, defaults), season_days, bounds)
                if validator.is_valid(visit)
                else "against-schema"
            )
        judged.append((path, number, visit, reason))

    sound = [visit for _, _, visit, reason in judged if reason is None]
    places = iter(
        counties.locate(
            [visit["field"]["lon"] for visit in sound], [visit["field"]["lat"] for visit in sound]
        )
    )

    receipt = collections.Counter(received=0, accepted=0, duplicate=0, held=0)
    accepted, held = {}, []
    for path, number, visit, reason in judged:
        receipt["received"] += 1
        if reason is None:
            county_id = next(places)
            identity = (visit["visit_id"], int(visit["revision"]))
            if county_id is None:
                reason = "outside-region"
            elif identity not in accepted:
                accepted[identity] = (visit, county_id)
                receipt["accepted"] += 1
                continue
            elif accepted[identity][0] == visit:  # by value: 8 equals 8.0, order is nothing
                receipt["duplicate"] += 1
                continue
            else:
                reason = "conflict"
        receipt["held"] += 1
        held.append({"file": path, "line": number, "reason": reason})
    return receipt, accepted, held


def current_visits(accepted):
    """The highest revision of each visit, unless that revision withdraws it."""
    highest = {}
    for (visit_id, revision), (visit, county_id) in accepted.items():
        if visit_id not in highest or revision > highest[visit_id][0]:
            highest[visit_id] = (revision, visit, county_id)
    return [
        (visit, county_id)
        for _, visit, county_id in highest.values()
        if not visit.get("retracted", False)
    ]


# --- Field-weeks and county-weeks --------------------------------------------------------------


def field_weeks(visits, defaults={}):
    """One reference visit per field, week and protocol, whether it is in the stage window, and whether it counts."""
    groups = collections.defaultdict(list)
    for visit, county_id in visits:
        groups[visit["field"]["field_id"], iso_week(visit), visit["protocol"]].append(
            (visit, county_id)
        )
    weeks = []
    for (_, (season, week), protocol), group in groups.items():
        in_window = [pair for pair in group if pair[0]["crop_stage"] in STAGE_WINDOW]
        untreated = [pair for pair in in_window if not after_treatment(pair[0])]
        visit, county_id = max(
            untreated or in_window or group, key=lambda pair: (pair[0]["observed_on"], pair[0]["visit_id"])
        )
        weeks.append(
            {
                "county_id": county_id,
                "season": season,
                "iso_week": week,
                "protocol": protocol,
                "in_window": bool(in_window),
                "counted": bool(untreated),
                "after_treatment": after_treatment(visit),
                "field_id": visit["field"]["field_id"],
                "farm_id": visit["field"].get("farm_id"),
                "area": exact(visit["field"]["area_ha"]),
                "pressure": field_mean(visit) / threshold(filled(visit, defaults)),
                "economics_assumed": bool(lacking(visit)),
                "visit": visit,
                "site_means": site_means(visit),
                "units": sum(len(site["heads"]) for site in visit["sites"]),
                "threshold": threshold(filled(visit, defaults)),
            }
        )
    return weeks


def wilson_interval(successes, trials):
    """95% Wilson score interval of a share (Wilson 1927, J. Am. Stat. Assoc. 22:209-212)."""
    share = successes / trials
    centre = share + Z**2 / (2 * trials)
    half = Z * math.sqrt(share * (1 - share) / trials + Z**2 / (4 * trials**2))
    scale = 1 + Z**2 / trials
    low = 0.0 if successes == 0 else (centre - half) / scale
    high = 1.0 if successes == trials else (centre + half) / scale
    return low, high


def figures_of(fields, fields_outside_stage, fields_treated):
    """The figures of a county-week from its standing fields within the stage window that follow no treatment."""
    figures = dict.fromkeys(FIGURES)
    figures.update(
        fields_visited=len(fields),
        fields_at_threshold=sum(field["pressure"] >= 1 for field in fields),
        fields_outside_stage=fields_outside_stage,
        fields_treated=fields_treated,
        fields_with_assumed_economics=sum(field["economics_assumed"] for field in fields),
    )
    if fields:
        pressures = np.array([float(field["pressure"]) for field in fields])
        low, high = wilson_interval(figures["fields_at_threshold"], len(fields))
        area_at_threshold = sum(field["area"] for field in fields if field["pressure"] >= 1)
        figures.update(
            share_at_threshold=figures["fields_at_threshold"] / len(fields),
            share_low=low,
            share_high=high,
            mean_pressure=float(np.mean(pressures)),
            median_pressure=float(np.median(pressures)),
            p90_pressure=float(np.quantile(pressures, 0.9)),
            max_pressure=float(np.max(pressures)),
            area_share_at_threshold=float(
                area_at_threshold / sum(field["area"] for field in fields)
            ),
        )
    return figures


def farms_of(fields):
    """How many of the fields name a farm, and their farms; a field that names none counts as one."""
    given = [field["farm_id"] for field in fields if field["farm_id"] is not None]
    return {"farms_given": len(given), "farms": len(set(given)) + len(fields) - len(given)}


def county_weeks(weeks, names):
    """One row per county, week and protocol that has visits, in the order of its key."""
    groups = collections.defaultdict(list)
    for week in weeks:
        key = (week["county_id"], week["season"], week["iso_week"], week["protocol"])
        groups[key].append(week)
    rows = []
    for (county_id, season, week, protocol), group in sorted(groups.items()):
        fields = [field for field in group if field["counted"]]
        fields_outside_stage = sum(not field["in_window"] for field in group)
        fields_treated = len(group) - len(fields) - fields_outside_stage
        rows.append(
            {
                "county_id": county_id,
                "county_name": names[county_id],
                "season": season,
                "iso_week": week,
                "protocol": protocol,
                # Without a field that counts the farms are those of all fields.
                **farms_of(fields or group),
                **figures_of(fields, fields_outside_stage, fields_treated),
            }
        )
    return rows


# --- The program -------------------------------------------------------------------------------


def arguments():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("files", nargs="+", help="NDJSON, in the order of loading")
    parser.add_argument("--boundaries", required=True, help="GeoJSON or TopoJSON")
    parser.add_argument("--states", help="keep counties whose id begins so, as 46,38")
    parser.add_argument("--id-property", help="default: the id of the feature itself")
    parser.add_argument("--name-property", default="name")
    parser.add_argument("--season", default="06-01,09-30", help="first and last day, MM-DD,MM-DD")
    parser.add_argument(
        "--bounds",
        type=json.loads,
        default={},
        help='JSON, as {"treatment_cost_per_ha": [low, high], "market_value_per_kg": ..., '
        '"plants_per_ha": ..., "area_ha": ...}; both ends are allowed values',
    )
    parser.add_argument(
        "--defaults",
        type=json.loads,
        default={},
        help='JSON, as {"oilseed": {"treatment_cost": {...}, ...}}: economics by crop type, in the '
        "form of a visit record, for records that lack them",
    )
    parser.add_argument("--out", type=pathlib.Path, default=pathlib.Path("."))
    return parser.parse_args()


def main():
    given = arguments()
    counties = read_counties(
        given.boundaries,
        states=given.states and given.states.split(","),
        id_property=given.id_property,
        name_property=given.name_property,
    )
    season_days = given.season.split(",")
    receipt, accepted, held = take_in(
        read_records(given.files), counties, season_days, given.bounds, given.defaults
    )
    weeks = field_weeks(current_visits(accepted), given.defaults)
    rows = county_weeks(weeks, counties.names)
    add_further_figures(rows, weeks)

    given.out.mkdir(parents=True, exist_ok=True)
    table = pd.DataFrame(rows, columns=[*KEY, *FARMS, *FIGURES, *FURTHER])
    counts = [*COUNTS, *FURTHER_COUNTS]
    table[counts] = table[counts].astype("Int64")
    table.to_csv(given.out / "county_week_full.csv", index=False, float_format="%.17g")
    pd.DataFrame(held, columns=["file", "line", "reason"]).to_csv(
        given.out / "held.csv", index=False
    )
    exactly_at = sum(week["counted"] and week["pressure"] == 1 for week in weeks)
    print(f"{exactly_at} fields are exactly at their threshold", file=sys.stderr)
    print(json.dumps(receipt))


if __name__ == "__main__":
    main()
