"""The judge finds what is planted: each outcome on a store and messages made for it.

Usage: test_judge.py
"""

import unittest
from types import SimpleNamespace

from case import Bad, Case
from judge import sort
from store import Store, visit_of
from visits import visits

PER_ACRE, PER_POUND = 1 / 0.40468564224, 1 / 0.45359237
FINDING = {
    "code": "number-with-text",
    "pointer": "/sites/0/heads/0/1",
    "found": 'M3 (S1H1B2): "3?"',
    "expected": "one number",
}


def stored(visit, flags="", **members):
    """A visit as the program's tables have it."""
    cost, price, stand = visit["treatment_cost"], visit["market_value"], visit["plant_population"]
    row = {
        name: visit[name]
        for name in ("field_id", "observed_on", "observer_id", "lon", "lat", "area_ha", "crop_type", "crop_stage")
    }
    row |= {"visit_id": visit["field_id"], "revision": 1, "submitted_at": "", "remarks": None, "flags": flags}
    row |= {"treatment_cost_per_ha": cost[0] * PER_ACRE, "treatment_cost_currency": cost[2]}
    row |= {
        "market_value_per_kg": price[0] * PER_POUND,
        "market_value_currency": price[2],
        "plants_per_ha": stand[0] * PER_ACRE,
    }
    units = [
        {"site": site, "unit": number, "counts": head, "unit_total": sum(head)}
        for site, heads in visit["counts"].items()
        for number, head in enumerate(heads, 1)
    ]
    return visit_of(row | members, units)


def outcome(kept, truth, bad=(), findings=(), out="", err="", **more):
    store = Store.__new__(Store)
    store.visits = list(kept)
    store.held = [{"file_name": "sheet.csv", "findings": [finding]} for finding in findings]
    run = SimpleNamespace(said=[((), 0, out, err)], codes=[0])
    return sort(Case("T-planted", "", None, [], list(truth), list(bad), **more), run, store)[0]


class Planted(unittest.TestCase):
    def setUp(self):
        self.one, self.other = visits(2)
        self.bad = Bad("counts", ["M3"], ("F-102", "2026-07-21"))

    def test_all_is_there(self):
        self.assertEqual(outcome([stored(self.one), stored(self.other)], [self.one, self.other]), "whole")

    def test_every_member_is_compared(self):
        for members in (
            {"area_ha": 100.0},
            {"lon": -100.126},
            {"crop_type": "confection"},
            {"crop_stage": "R2"},
            {"observer_id": "obs-1"},
            {"market_value_per_kg": 0.16},
            {"treatment_cost_currency": "CAD"},
            {"plants_per_ha": 20000.0},
            {"observed_on": "2025-07-20"},
        ):
            self.assertEqual(outcome([stored(self.one, **members)], [self.one]), "wrong", members)

    def test_counts_are_compared(self):
        bent = stored(self.one)
        bent["counts"][2][1] = [1, 0, 0, 1, 1, 3]
        self.assertEqual(outcome([bent], [self.one]), "wrong")

    def test_what_was_not_to_be_accepted(self):
        self.assertEqual(outcome([stored(self.one), stored(self.other)], [self.one], [self.bad]), "wrong")

    def test_a_flag_must_name_the_member(self):
        for flags, expected in (("count-unusual", "whole"), ("too-few-units", "wrong"), ("field-moved", "wrong")):
            kept = [stored(self.one), stored(self.other, flags)]
            self.assertEqual(outcome(kept, [self.one], [self.bad]), expected, flags)

    def test_held_with_its_reason(self):
        self.assertEqual(outcome([stored(self.one)], [self.one], [self.bad], [FINDING]), "whole")
        self.assertEqual(outcome([stored(self.one)], [self.one, self.other], [], [FINDING]), "partly")
        self.assertEqual(outcome([], [self.other], [], [FINDING]), "refused")

    def test_a_reason_without_a_place_or_a_way_is_unclear(self):
        without_place = FINDING | {"found": '"3?"'}
        without_way = FINDING | {"expected": ""}
        for finding in (without_place, without_way):
            self.assertEqual(outcome([stored(self.one)], [self.one], [self.bad], [finding]), "unclear")
        self.assertEqual(outcome([], [self.one], [], [FINDING], way=["bareNumber"]), "unclear")
        self.assertEqual(outcome([stored(self.one)], [self.one], held_at_most=0, findings=[FINDING]), "unclear")

    def test_a_refusal_names_the_file_what_it_is_and_the_way(self):
        photo = Bad("file", ["sheet.csv"], None, ["picture"])
        said = "error: cannot load sheet.csv: it is a picture\nhelp:  type what it shows"
        for err, expected in (
            (said, "refused"),
            (said.split("\n")[0], "unclear"),
            (said.replace("picture", "file"), "unclear"),
        ):
            self.assertEqual(outcome([], [], [photo], err=err), expected, err)


unittest.main()
