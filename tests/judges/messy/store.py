"""What a workspace holds after a case, asked of the program as an office would, and compared with the truth."""

import json
import re

from case import MEMBER_WORDS

KG_PER_LB = 0.45359237
HA_PER_ACRE = 0.40468564224
PER_HA = {"acre": 1 / HA_PER_ACRE, "ha": 1.0}
PER_KG = {"lb": 1 / KG_PER_LB, "kg": 1.0}
# Flags that say how much was counted, and name no member that is wrong.
USUAL_FLAGS = {"too-few-sites", "too-few-units", "outside-stage"}

VISITS = """select visits.*, units.site, units.unit, units.counts, units.total as unit_total from visits
left join units on visits.visit_id = units.visit_id and visits.revision = units.revision"""


class Store:
    """Visits as they count, each with its counts and flags; and what was held, with the reasons."""

    def __init__(self, run):
        rows = query(run, VISITS)
        newest = {}
        for row in rows:
            before = newest.setdefault(row["visit_id"], row)
            if row["revision"] > before["revision"]:
                newest[row["visit_id"]] = row
        units = {}
        for row in rows:
            units.setdefault((row["visit_id"], row["revision"]), []).append(row)
        self.visits = [
            visit_of(row, units[row["visit_id"], row["revision"]]) for row in newest.values() if not row["retracted"]
        ]
        self.held = held(run)

    def found(self, visit):
        """The stored visits of a field and a day; by the point, if the office's number of the field was changed."""
        by_name = [other for other in self.visits if key(other) == key(visit)]
        if by_name:
            return by_name
        return [
            other for other in self.visits if other["observed_on"] == visit["observed_on"] and same_point(other, visit)
        ]


def key(visit):
    return visit["field_id"], visit["observed_on"]


def same_point(one, other):
    return abs(one["lon"] - other["lon"]) < 1e-4 and abs(one["lat"] - other["lat"]) < 1e-4


def query(run, text):
    answer = run.bractline("sql", text, "--format", "json", "--seconds", "300")
    if answer.returncode != 0:
        raise RuntimeError(f"{text}: {answer.stderr}")
    return json.loads(answer.stdout or "[]")


def held(run):
    """Every held record with its findings, closed or not: a message counts when it was given."""
    rows = query(run, "select line, file_name, visit_id, reasons from held")
    return [row | {"findings": json.loads(row["reasons"])} for row in rows]


def visit_of(row, units):
    counts, totals = {}, {}
    for unit in sorted((unit for unit in units if unit["unit"]), key=lambda unit: (unit["site"], unit["unit"])):
        counts.setdefault(unit["site"], []).append(unit["counts"])
        totals.setdefault(unit["site"], []).append(unit["unit_total"])
    names = ("visit_id", "revision", "field_id", "observed_on", "observer_id", "lon", "lat", "area_ha", "crop_type")
    flags = set((row["flags"] or "").split()) - USUAL_FLAGS
    return {name: row[name] for name in names} | {
        "crop_stage": row["crop_stage"],
        "submitted_at": row["submitted_at"],
        "treatment_cost": (row["treatment_cost_per_ha"], row["treatment_cost_currency"]),
        "market_value": (row["market_value_per_kg"], row["market_value_currency"]),
        "plant_population": (row["plants_per_ha"],),
        "remarks": row["remarks"],
        "counts": counts,
        "totals": totals,
        "flags": flags,
    }


def faults(truth, stored, tolerance):
    """The members of a stored visit that are not what was meant: (member, meant, stored)."""
    wrong = []
    for member in (
        "field_id",
        "observed_on",
        "observer_id",
        "crop_type",
        "crop_stage",
        "visit_id",
        "submitted_at",
        "remarks",
    ):
        if member in truth and truth[member] != stored[member] and not truth.get(f"any_{member}"):
            wrong.append((member, truth[member], stored[member]))
    for member in ("lon", "lat"):
        if abs(truth[member] - stored[member]) > truth.get("point_within", 1e-6):
            wrong.append((member, truth[member], stored[member]))
    if not near(truth["area_ha"], stored["area_ha"], tolerance):
        wrong.append(("area_ha", truth["area_ha"], stored["area_ha"]))
    amount, per, currency = truth["treatment_cost"]
    wrong += economics("treatment_cost", (amount * PER_HA[per], currency), stored, tolerance)
    amount, per, currency = truth["market_value"]
    wrong += economics("market_value", (amount * PER_KG[per], currency), stored, tolerance)
    number, per = truth["plant_population"]
    wrong += economics("plant_population", (number * PER_HA[per],), stored, tolerance)
    if not same_counts(truth["counts"], stored):
        wrong.append(("counts", truth["counts"], stored["counts"]))
    return wrong


def economics(member, meant, stored, tolerance):
    have = stored[member]
    same = near(meant[0], have[0], tolerance) and meant[1:] == have[1:]
    return [] if same else [(member, meant, have)]


def near(one, other, tolerance):
    return other is not None and abs(one - other) <= tolerance * max(abs(one), abs(other), 1e-9)


def same_counts(meant, stored):
    """Bract by bract; a bud's total where the sheet states no more. The numbers of the sites are the sheet's."""
    if [len(units) for _site, units in sorted(meant.items())] != [
        len(units) for _, units in sorted(stored["counts"].items())
    ]:
        return False
    for (_, units), (site, counts) in zip(sorted(meant.items()), sorted(stored["counts"].items())):
        for unit, count, total in zip(units, counts, stored["totals"][site]):
            if (unit != total) if isinstance(unit, int) else (unit != count):
                return False
    return True


def names_member(text, member, words=()):
    text = text.lower()
    return any(
        re.search(rf"(?<![a-z]){re.escape(word.lower())}", text) for word in [*MEMBER_WORDS.get(member, []), *words]
    )


def flagged(stored, member, messages, words=()):
    """Whether one of the visit's flags names the member, by its code or in the line that reports it."""
    for flag in stored["flags"]:
        lines = [line for line in messages.splitlines() if flag in line]
        if any(names_member(said, member, words) for said in [flag.replace("-", " "), *lines]):
            return True
    return False
