"""The truth table: invented visits on the counties of the sample region, and what they lie in.

Everything is invented and comes from a seeded generator; no clock is read.
"""

import datetime
import json
import random

import shapely.geometry

VISITS = 24
ACRES_TO_HECTARES = 0.40468564224  # the international acre
SUBMITTED = "2026-08-10T12:00:00Z"
STAGES = ["R2", "R3"]
REMARKS = {
    3: "invented: hail on the north side",
    7: "invented: wind, \u201cgusty\u201d; few moths",
    12: "invented: Gr\u00f6\u00dfe gesch\u00e4tzt, H\u00e4lfte n\u00e4sse",
}


def region(sample):
    """The sample region with county codes of five digits, as the codes of states that begin with a zero."""
    region = json.loads(sample.read_text("utf-8"))
    for feature in region["features"]:
        number = feature["properties"]["county_id"].removeprefix("X")
        feature["properties"]["county_id"] = f"050{number}"
    return region


def visits(region):
    """Visits of the protocol bsm-eggs, in the order of their days."""
    chance = random.Random(7)
    made = [visit(chance, number, region["features"]) for number in range(VISITS)]
    return sorted(made, key=lambda visit: (visit["observed_on"], visit["visit_id"]))


def visit(chance, number, counties):
    county = counties[number % len(counties)]
    point = shapely.geometry.shape(county["geometry"]).representative_point()
    day = datetime.date(2026, 7, 6) + datetime.timedelta(days=(number * 5) % 27)
    field_id, observer_id = f"{chance.randrange(100, 9900):05}", f"obs-90{number % 5:02}"
    acres = chance.choice([62.5, 80.25, 12.5, 150, 40.75, 0.5, 7.5, 1.5])
    visit = {
        "schema_version": "1.0",
        "visit_id": f"truth:{field_id}:{day}:{observer_id}",
        "revision": 1,
        "observed_on": day.isoformat(),
        "submitted_at": SUBMITTED,
        "observer_id": observer_id,
        "field": {
            "field_id": field_id,
            "lon": round(point.x + chance.uniform(-0.05, 0.05), 4),
            "lat": round(point.y + chance.uniform(-0.05, 0.05), 4),
            "area_ha": acres * ACRES_TO_HECTARES,
            "crop_type": chance.choice(["oilseed", "confection"]),
            "farm_id": f"{chance.randrange(10**10, 10**11):012}".replace("0", "9", 1),
            "county_id": county["properties"]["county_id"],
        },
        "protocol": "bsm-eggs",
        "crop_stage": chance.choice(STAGES),
        "economics": {
            "treatment_cost": {"amount": chance.choice([8, 8.25, 9.5, 10.75]), "per": "acre", "currency": "USD"},
            "market_value": {"amount": chance.choice([0.16, 0.175, 0.28]), "per": "lb", "currency": "USD"},
            "plant_population": {"count": chance.choice([18000, 20000, 21500]), "per": "acre"},
        },
        "sites": [{"site": site, "side": side, "heads": heads(chance)} for site, side in [(1, "N"), (2, "E")]],
    }
    if number in REMARKS:
        visit["remarks"] = REMARKS[number]
    return visit


def heads(chance):
    return [[chance.choice([0, 0, 0, 1, 1, 2, 3, 11]) for _bract in range(6)] for _head in range(2)]


def with_weevils(visits):
    """The same visits by a second protocol, which counts adults on plants."""
    chance = random.Random(8)
    made = []
    for visit in visits:
        other = json.loads(json.dumps(visit))
        other["protocol"] = "weevil-adults"
        other["visit_id"] = f"{visit['visit_id']}:weevil-adults"
        for site in other["sites"]:
            del site["heads"]
            site["plants"] = [chance.randrange(4) for _plant in range(3)]
        made.append(other)
    return made


def weevil_protocol(text):
    """A second protocol made of the text of the first; what it says of thresholds means nothing here."""
    changed = text.replace('form = "heads"\ncounts_per_unit = 6', 'form = "plants"')
    changed = changed.replace("unit_totals = true\n", "")
    changed = changed.replace("Banded sunflower moth, eggs on bracts", "Invented weevil, adults on plants")
    assert changed != text
    return changed
