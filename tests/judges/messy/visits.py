"""The invented visits that the cases are made of: no real place, person, price or count."""

import copy

ACRE = 0.40468564224  # the international acre in hectares
SUBMITTED = "2026-08-10T12:00:00Z"
# Within the invented counties of sample_data/region.geojson.
POINTS = [(-100.125, 45.25), (-99.5, 44.75), (-100.875, 45.625), (-99.25, 45.5), (-100.5, 44.5), (-99.75, 46.125)]
DAYS = ["2026-07-20", "2026-07-21", "2026-07-22", "2026-07-27", "2026-07-28", "2026-07-29"]
ACRES = [100, 250, 160, 80, 120, 62.5]
COSTS = [8.0, 9.5, 8.25, 10.0, 7.5, 9.0]
PRICES = [0.16, 0.28, 0.175, 0.2, 0.25, 0.18]
POPULATIONS = [20000, 18000, 21500, 19000, 20500, 22000]
# One digit a bract: two sites with two heads each.
COUNTS = [
    "000000 120000 100002 100112",
    "002001 202000 000000 212112",
    "010000 010021 201010 000100",
    "300010 000201 010000 002000",
    "000012 100000 020100 000001",
    "100200 003000 000010 010000",
]


def visits(number=4):
    """The first `number` visits, each a dict of what a person reads: values with the units of the sheet."""
    return [visit(place) for place in range(number)]


def visit(place):
    lon, lat = POINTS[place]
    heads = [[int(digit) for digit in head] for head in COUNTS[place].split()]
    return {
        "field_id": f"F-{101 + place}",
        "observed_on": DAYS[place],
        "observer_id": f"obs-{11 + place % 2}",
        "lon": lon,
        "lat": lat,
        "area_ha": ACRES[place] * ACRE,
        "acres": ACRES[place],
        "crop_type": "oilseed" if place % 2 == 0 else "confection",
        "crop_stage": "R3" if place % 3 != 1 else "R2",
        "treatment_cost": (COSTS[place], "acre", "USD"),
        "market_value": (PRICES[place], "lb", "USD"),
        "plant_population": (POPULATIONS[place], "acre"),
        "counts": {1: heads[:2], 2: heads[2:]},
    }


def key(visit):
    return visit["field_id"], visit["observed_on"]


def changed(visit, **members):
    """The visit with other members."""
    other = copy.deepcopy(visit)
    other.update(members)
    return other


def without(visits, *places):
    return [visit for place, visit in enumerate(visits) if place not in places]


def bud_totals(visits):
    """The visits as one number a bud, the six bracts together: a count is then a unit's total."""
    return [
        changed(visit, counts={site: [sum(head) for head in heads] for site, heads in visit["counts"].items()})
        for visit in visits
    ]
