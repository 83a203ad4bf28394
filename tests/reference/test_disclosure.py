"""Tests of the rule and of the attacks themselves, on rows small enough to work out by hand.

Run: python test_disclosure.py
"""

import datetime
import pathlib
import sys
import tempfile
from types import SimpleNamespace

import disclosure_attacks
import disclosure_intervals
import disclosure_knowledge
import disclosure_rule as rule

SURVEY, STRICT = rule.Settings("survey"), rule.Settings("strict")
KEY = "2026-W30", "bsm-eggs"


def field(name, pressure=0.5, farm="own", county="Z01", inside=True, stage="R3", near=False, opens=None):
    farm = f"farm{name}" if farm == "own" else farm
    days = (None, None) if opens is None else (opens, opens + datetime.timedelta(days=3))
    return rule.Field(str(name), farm, county, inside, stage, pressure, near, False, *days, opens and "days")


def fields(*pressures, **more):
    return [field(number, pressure, **more) for number, pressure in enumerate(pressures)]


def test_what_a_cell_is():
    assert rule.is_cell(fields(0, 0, 0), True, SURVEY)
    assert not rule.is_cell(fields(0, 0), True, SURVEY)
    # Farms that are one but for case, space and hyphen; fields without an id are one farm, and none that counts.
    assert rule.fold("Farm-Vary 1") == rule.fold("FARM vary1") == rule.fold("ｆａｒｍ–vary１") == "farmvary1"
    assert rule.fold("--") is None
    of = lambda *farms: [field(number, farm=farm) for number, farm in enumerate(farms)]
    assert not rule.is_cell(of("a", "a", "b"), True, SURVEY)
    assert not rule.is_cell(of("a", "b", None), True, SURVEY)
    assert rule.is_cell(of("a", "a", "b", "c"), True, SURVEY)  # half is not more than half
    assert not rule.is_cell(of("a", "a", "a", "b", "c"), True, SURVEY)
    assert not rule.is_cell(of(None, None, None, None, "a", "b", "c"), True, SURVEY)
    # No farm is known: five fields, and never a mean.
    assert rule.is_cell(of(*[None] * 5), False, SURVEY) and not rule.is_cell(of(*[None] * 4), False, SURVEY)
    assert not rule.is_large(of(*[None] * 12), False) and rule.is_large(of(*"abcdeabcde"), True)
    assert not rule.is_large(of(*"aaaabcdebc"), True)  # 4 of 10 are more than a third


def test_counts_by_level():
    survey = {(3, 0): (0, 0), (4, 1): (1, 4), (5, 3): (3, 3), (5, 4): (4, 5), (5, 5): (4, 5), (9, 7): (7, 7)}
    for (n, k), shown in survey.items():
        assert rule.count_shown(n, k, "survey", False) == shown, (n, k)
    strict = {
        (4, 3, False): (1, 4), (5, 0, False): (0, 0), (5, 1, False): (1, 1), (5, 2, False): (2, 5), (7, 2, False): (1, 2),
        (10, 4, True): (4, 4), (10, 5, True): (5, 10), (10, 4, False): (4, 10), (13, 6, True): (5, 6),
    }
    for (n, k, large), shown in strict.items():
        assert rule.count_shown(n, k, "strict", large) == shown, (n, k)


def test_classes_and_means():
    assert rule.class_of([0, 0, 0, 0, 0], "survey", False) == ("nothing-found", 0.0, None)
    assert rule.class_of([0, 0, 0, 0, 2], "survey", False) == ("0-0.25", 0.0, 0.25)
    assert rule.class_of([0, 0, 1 - 1e-13, 3, 3], "survey", False) == ("1-1.5", 1.0, 1.5)
    assert rule.class_of([0, 0, 1 - 1e-11, 3, 3], "survey", False) == ("0.5-1", 0.5, 1.0)
    assert rule.class_of([2] * 5, "survey", False) == ("1.5-3", 1.5, 3.0)
    assert rule.class_of([3] * 5, "survey", False) == ("3+", 3.0, None)
    assert rule.class_of([2] * 5, "strict", False) == ("0.5+", 0.5, None)
    assert rule.class_of([0.9] * 10, "strict", True) == ("0.5-1", 0.5, 1.0)
    assert [rule.mean_shown([value]) for value in (0.09, 0.1, 0.29, 0.3, 1.234)] == [0.0, 0.2, 0.2, 0.4, 1.2]


def test_a_row_worked_by_hand():
    outside = [field(4, 0.0, inside=False, stage="R5.1"), field(5, 0.0, inside=False, stage="V12")]
    members = [field(1, 0.5), field(2, 1.0), field(3, 2.0), *outside]
    row = rule.public_row(members, True, SURVEY)
    assert (row["fields_visited"], row["at_threshold_min"], row["at_threshold_max"]) == (3, 1, 3)
    assert row["median_class"] is None and row["mean_pressure"] is None and row["fields_outside_stage"] is None
    # Wilson for 1 of 3 and 3 of 3: 0.0615 (Newcombe's method 3) and 1.
    assert round(row["share_low"], 4) == 0.0615 and row["share_high"] == 1.0
    assert row["stages"] == [("R3", 3, True)]
    # A third field outside makes those a cell; V and R5.1 are gathered.
    row = rule.public_row([*members, field(6, 0.0, inside=False, stage="R5.3")], True, SURVEY)
    assert row["fields_outside_stage"] == 3 and row["stages"] == [("R3", 3, True), ("V–R5", 3, False)]
    assert rule.may_be_shown([field(n, inside=False) for n in range(3)], True, SURVEY)
    # One field in the window, and three outside it: what is in the window is no cell.
    assert not rule.may_be_shown([field(9), *(field(n, inside=False) for n in range(3))], True, SURVEY)


def test_weeks_of_treatment():
    monday = datetime.date(2026, 7, 20)
    opens = [monday + datetime.timedelta(days=7 * week) for week in (0, 1, 1, 2, 3)]
    group = [field(number, opens=day) for number, day in enumerate(opens)]
    assert rule.treatment_weeks(group, True, "survey") == ("2026-W31", "2026-W31")
    assert rule.treatment_weeks(group, True, "strict") == ("2026-W31", "2026-W31")
    same = [field(number, farm="a", opens=day) for number, day in enumerate(opens)]
    assert rule.treatment_weeks(same, True, "survey") == (None, None)
    assert rule.treatment_weeks(group[:4], True, "survey") == (None, None)


def issued(settings, *states, districts=None):
    ledger = rule.Ledger(settings, districts or {})
    for state in states:
        ledger.publish({KEY: state}, True)
    return ledger.rows[KEY]


def test_editions_and_pools():
    first = fields(0.1, 0.2, 0.3)
    late = [field(number, 0.4) for number in (10, 11, 12)]
    # Two late fields are no cell: the row stays, and they are in no row. Three are one: a second edition, and then no third.
    assert len(issued(SURVEY, first, first + late[:2])["county", "Z01"].editions) == 1
    rows = issued(SURVEY, first, first + late)
    assert len(rows) == 1 and rows["county", "Z01"].figures[-1]["fields_visited"] == 6
    more = [field(number, 0.4) for number in (20, 21, 22)]
    rows = issued(SURVEY, first, first + late, first + late + more)
    assert [len(row.editions) for row in rows.values()] == [2, 1]
    assert rows["region", ""].figures[0]["fields_visited"] == 3 and not rows["county", "Z01"].members() & rows["region", ""].members()
    # A correction of one field changes no row.
    assert len(issued(SURVEY, first, [field(0, 0.9), *first[1:]])["county", "Z01"].editions) == 1
    # Small counties meet in their district, others in the region.
    apart = [field(number, county=county) for number, county in enumerate(["Z02", "Z02", "Z03", "Z04", "Z05", "Z06"])]
    rows = issued(SURVEY, apart, districts={"Z02": "N", "Z03": "N", "Z04": "S"})
    counted = {place: row.figures[0]["fields_visited"] for place, row in rows.items()}
    assert counted == {("district", "N"): 3, ("region", ""): 3}
    # strict: three late fields that are all at threshold would be known to be.
    high = [field(number, 3.0) for number in (10, 11, 12, 13, 14)]
    five = fields(0, 0, 0, 0, 0)
    assert len(issued(SURVEY, five, five + high)["county", "Z01"].editions) == 2
    assert rule.count_shown(10, 5, "strict", True) == (5, 10)
    assert len(issued(STRICT, five, five + high)["county", "Z01"].editions) == 1


def test_the_black_box_bites():
    # A row of three fields only says "one or more". Of 5 fields the class 0.5-1 holds the third value, 0.8, and is wide.
    row = lambda *pressures: [rule.Row(("county", "Z01"), [rule.by_id(fields(*pressures))], [])]
    found = disclosure_knowledge.republication(row(0, 0.8, 2), True, "survey")
    assert found["under 5"] == {"fields": 3, "narrow": 0, "at_threshold": 1, "at_threshold_narrow": 0}, found
    found = disclosure_knowledge.republication(row(0, 0, 0.8, 2, 2), True, "survey")
    assert found["5 to 9"]["narrow"] == 0, found
    # The mean of ten fields holds the one that most of it is of.
    found = disclosure_knowledge.republication(row(*[0.3] * 9, 30), True, "survey")
    assert found["10 or more"]["narrow"] == 1, found
    found = disclosure_knowledge.republication(row(0, 0, 0.8, 2, 2), True, "strict")
    assert found["5 to 9"]["narrow"] == 0, found
    # 1 to 1.5 is just not narrow.
    assert disclosure_knowledge.republication(row(0, 0, 1.2, 2, 2), True, "survey")["5 to 9"]["narrow"] == 0


def test_programs_bite():
    figures = {
        "fields_visited": 10, "at_threshold_min": 2, "at_threshold_max": 2, "median_class": "0.25-0.5", "median_from": 0.25,
        "median_below": 0.5, "mean_pressure": 0.2,
    }
    # The sum is below 3, the middle two have 0.5, the two above them 0.5: 2 remain for the two at threshold.
    members = fields(0, 0, 0, 0, 0.25, 0.25, 0.25, 0.25, 1, 1)
    found = disclosure_intervals.narrow_places(figures, members, [])
    assert set(found) >= {8, 9} and "any" not in found, found
    # Of five fields of which four or more are at threshold the grower of the low one knows the rest, but not how high.
    figures = {
        "fields_visited": 5, "at_threshold_min": 4, "at_threshold_max": 5, "median_class": "1-1.5", "median_from": 1.0,
        "median_below": 1.5, "mean_pressure": None,
    }
    members = fields(0, 1.2, 1.2, 2, 3)
    assert "any" not in disclosure_intervals.narrow_places(figures, members, members[:1])


def test_all_others_at_threshold_is_seen():
    members = fields(0, 2, 2, 2, 2)
    row = rule.Row(("county", "Z01"), [rule.by_id(members)], [rule.public_row(members, True, SURVEY)])
    season = SimpleNamespace(rows=lambda: [row], settings=SURVEY)
    assert disclosure_attacks.all_others(season) == {"rows by farms": 6, "all others known": 1}
    row.figures = [rule.public_row(members, True, STRICT)]
    assert disclosure_attacks.all_others(season)["all others known"] == 0


def test_folders_that_differ():
    with tempfile.TemporaryDirectory() as folder:
        one, other = pathlib.Path(folder, "one"), pathlib.Path(folder, "other")
        for place in (one, other):
            place.mkdir()
            (place / "same").write_text("x")
            (place / "changed").write_text(str(place))
        (one / "alone").write_text("x")
        assert disclosure_attacks.differing(one, other) == ["alone", "changed"]


def main():
    disclosure_intervals.check(300)
    tests = [test for name, test in globals().items() if name.startswith("test_")]
    for test in tests:
        test()
        print(f"ok   {test.__name__}")
    print(f"{len(tests)} tests passed")


if __name__ == "__main__":
    sys.exit(main())
