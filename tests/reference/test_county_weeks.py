"""Tests of the references themselves, on a season small enough to work out by hand.

Run: python test_county_weeks.py. Two invented square counties: 001 Ash (longitude 0 to 1) and
002 Birch (1 to 2), latitude 0 to 1.
"""

import copy
import csv
import datetime
import json
import pathlib
import subprocess
import sys
import tempfile

import duckdb

import county_weeks
import further_figures
from boundaries import read_counties

HERE = pathlib.Path(__file__).parent
BOUNDS = {
    "treatment_cost_per_ha": [2, 200],
    "market_value_per_kg": [0.03, 3],
    "plants_per_ha": [5000, 500000],
    "area_ha": [0.1, 1000],
}


def square(west):
    east = west + 1
    return [[[west, 0], [east, 0], [east, 1], [west, 1], [west, 0]]]


BOUNDARIES = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature",
            "id": county_id,
            "properties": {"name": name},
            "geometry": {"type": "Polygon", "coordinates": square(west)},
        }
        for county_id, name, west in [("002", "Birch", 1), ("001", "Ash", 0)]
    ],
}


def economics(cost, per_area, value, per_weight, plants):
    return {
        "treatment_cost": {"amount": cost, "per": per_area, "currency": "USD"},
        "market_value": {"amount": value, "per": per_weight, "currency": "USD"},
        "plant_population": {"count": plants, "per": per_area},
    }


# 8.00 / (0.16 x 20000 x 0.00078) = 8.00 / 2.496 = 3.2051 eggs per six bracts
DESIGN = economics(8.0, "acre", 0.16, "lb", 20000)
# 7.80 / (0.20 x 20000 x 0.00078) = 7.80 / 3.12 = 2.5 exactly
ROUND = economics(7.8, "acre", 0.2, "lb", 20000)
# 20 / (0.5 x 50000 x 0.00078 x 0.45359237) = 20 / 8.845051215 = 2.26115
METRIC = economics(20, "ha", 0.5, "kg", 50000)

EMPTY_HEAD = [0, 0, 0, 0, 0, 0]
# head totals 3 and 1, site mean 2, field mean 2
WORKED = [[[0, 1, 0, 2, 0, 0], [0, 0, 0, 0, 1, 0]]]


def visit(visit_id, field_id, day, sites=((EMPTY_HEAD,),), lon=0.5, stage="R3", money=DESIGN,
          area=10, farm=None, revision=1, **more):
    field = {"field_id": field_id, "lon": lon, "lat": 0.5, "area_ha": area, "crop_type": "oilseed"}
    if farm is not None:
        field["farm_id"] = farm
    return {
        "schema_version": "1.0",
        "visit_id": visit_id,
        "revision": revision,
        "observed_on": day,
        "submitted_at": f"{day}T18:00:00Z",
        "observer_id": "obs-1",
        "field": field,
        "protocol": "bsm-eggs",
        "crop_stage": stage,
        "economics": money,
        "sites": [{"site": site, "heads": heads} for site, heads in enumerate(sites, start=1)],
        **more,
    }


def head(total):
    return [total, 0, 0, 0, 0, 0]


def season():
    """The visits, in the order of loading. 2026-W30 is 20 to 26 July, a Monday to a Sunday."""
    ash_30 = [
        visit("a", "F1", "2026-07-21", WORKED, area=10, farm="A"),
        # On the border: the lowest id has it. Site means 5 and 0, field mean 2.5.
        visit("b", "F2", "2026-07-20", [[head(5)], [EMPTY_HEAD, EMPTY_HEAD]], lon=1.0, money=ROUND,
              stage="R2", area=30, farm="B"),
        # Three visits in the week: a later day replaces an earlier one, on one day the later
        # visit_id over the other, and R4 is set aside though it is the last.
        visit("z", "F3", "2026-07-22", [[head(90)]], money=METRIC, area=60, farm="C"),
        visit("c-1", "F3", "2026-07-24", [[head(80)]], money=METRIC, area=60, farm="C"),
        visit("c-2", "F3", "2026-07-24", [[head(4)]], money=METRIC, area=60, farm="C"),
        visit("c-3", "F3", "2026-07-26", [[head(70)]], money=METRIC, area=60, stage="R4", farm="C"),
        visit("d", "F4", "2026-07-23", [[head(60)]], stage="R5.1", area=99, farm="D"),
        # After a treatment: the earlier visit of F2 stays, and F5 has no other.
        visit("b-2", "F2", "2026-07-25", [[EMPTY_HEAD]], lon=1.0, money=ROUND, area=30, farm="B",
              treated_on="2026-07-23", treatment="insecticide"),
        visit("t", "F5", "2026-07-22", [[head(60)]], farm="E", treated_on="2026-07-08"),
    ]
    ash_31 = [
        # Revision 2 arrives first and stays current.
        visit("e", "F1", "2026-07-28", revision=2),
        visit("e", "F1", "2026-07-28", [[head(50)]], revision=1),
        visit("f", "F2", "2026-07-28", treatment="none"),
        # Treated 15 days before; and on a day that nobody knows.
        visit("g", "F3", "2026-07-28", treated_on="2026-07-13", treatment="other"),
        visit("u", "F6", "2026-07-28", treatment="insecticide"),
    ]
    birch = [
        # W30: three fields, of which one is withdrawn.
        visit("h", "G1", "2026-07-21", lon=1.5),
        visit("i", "G2", "2026-07-21", lon=1.5),
        visit("j", "G3", "2026-07-21", lon=1.5),
        visit("j", "G3", "2026-07-21", lon=1.5, revision=2, retracted=True),
        # W31: two fields of farm X and a field without a farm.
        visit("k", "G1", "2026-07-28", lon=1.5, farm="X"),
        visit("l", "G2", "2026-07-28", lon=1.5, farm="X"),
        visit("m", "G3", "2026-07-28", lon=1.5),
        # W32: three fields, all outside the stage window.
        visit("n", "G1", "2026-08-04", lon=1.5, stage="R4"),
        visit("o", "G2", "2026-08-04", lon=1.5, stage="V12"),
        visit("p", "G3", "2026-08-04", lon=1.5, stage="R5"),
        # W33: two fields, both outside.
        visit("q", "G1", "2026-08-11", lon=1.5, stage="R4"),
        visit("r", "G2", "2026-08-11", lon=1.5, stage="VE"),
    ]
    same = copy.deepcopy(ash_30[0])
    same["economics"]["treatment_cost"] = {"currency": "USD", "per": "acre", "amount": 8}
    other = copy.deepcopy(ash_30[0])
    other["field"]["area_ha"] = 11
    broken = [
        "this is no JSON",
        json.dumps(visit("s", "F9", "2026-07-21")).replace('"area_ha": 10', '"area_ha": NaN'),
        json.dumps(visit("s", "F9", "2026-07-21"))[:-1] + ', "remarks": "x", "remarks": "x"}',
        json.dumps(visit("s", "F9", "2026-07-21", name="somebody")),
        json.dumps(visit("s", "F9", "2026-07-21", [[[1] * 7]])),
        json.dumps(visit("s", "F9", "2026-07-21", lon=2.5)),
        json.dumps(visit("s", "F9", "2026-10-01")),
        json.dumps(visit("s", "F9", "2026-07-21", stage="R10")),
        json.dumps(visit("s", "F9", "2026-07-21", money=economics(8.0, "acre", 16, "lb", 20000))),
        json.dumps(visit("s", "F9", "2026-07-21", area=1001)),
        json.dumps(visit("s", "F9", "2026-07-21", treated_on="2026-07-22")),
        json.dumps(visit("s", "F9", "2026-07-21", treated_on="2026-01-21")),
        json.dumps(visit("s", "F9", "2026-07-21", treated_on="2026-07-01", treatment="none")),
    ]
    good = [json.dumps(record) for record in (*ash_30, *ash_31, *birch)]
    return [*good, json.dumps(same), json.dumps(other), *broken], len(good)


REASONS = [
    "conflict", "not-json", "not-json", "not-json", "against-schema", "counts-per-head-wrong",
    "outside-region", "outside-season", "stage-not-on-scale", "market-value-per-kg-implausible",
    "area-ha-implausible", "treated-after-visit", "treated-long-before-visit", "untreated-with-date",
]

# Pressures in Ash, W30: F1 2 x 2.496 / 8 = 0.624; F2 2.5 / 2.5 = 1;
# F3 4 x 8.845051215 / 20 = 1.769010243. Two of three are at threshold, F2 exactly.
# mean 3.393010243 / 3; p90 at place 0.9 x 2 = 1.8: 1 + 0.8 x 0.769010243.
# Wilson, z^2 = 3.841458821: centre (2/3 + z^2/6) / (1 + z^2/3) = 1.306909803 / 2.280486274
# = 0.573084050; half = z sqrt((2/9)/3 + z^2/36) / 2.280486274 = 1.959963985 x 0.425183800
# / 2.280486274 = 0.365424...; area (30 + 60) / 100. F4 is the one outside the window.
ASH_30 = {
    "county_name": "Ash", "fields_visited": 3, "fields_at_threshold": 2,
    "share_at_threshold": 2 / 3, "share_low": 0.2077, "share_high": 0.9385,
    "mean_pressure": 1.131003414333, "median_pressure": 1.0, "p90_pressure": 1.6152081944,
    "max_pressure": 1.769010243, "area_share_at_threshold": 0.9, "fields_outside_stage": 1, "fields_treated": 1,
    "fields_with_assumed_economics": 0, "farms_given": 3, "farms": 3,
}
# All three counts are nought. Wilson for 0 of 3: high = z^2 / (3 + z^2) = 0.561497.
ASH_31 = {
    "county_name": "Ash", "fields_visited": 3, "fields_at_threshold": 0, "share_at_threshold": 0,
    "share_low": 0, "share_high": 0.561497, "mean_pressure": 0, "median_pressure": 0,
    "p90_pressure": 0, "max_pressure": 0, "area_share_at_threshold": 0, "fields_outside_stage": 0, "fields_treated": 1,
    "fields_with_assumed_economics": 0, "farms_given": 0, "farms": 3,
}
# Small county-weeks have every figure, too. Wilson for 0 of 2: high = z^2 / (2 + z^2) = 0.657620.
BIRCH_31 = ASH_31 | {"county_name": "Birch", "farms_given": 2, "farms": 2, "fields_treated": 0}
BIRCH_30 = BIRCH_31 | {"fields_visited": 2, "farms_given": 0, "farms": 2, "share_high": 0.657620}
BIRCH_32 = dict.fromkeys(county_weeks.FIGURES) | {
    "county_name": "Birch", "fields_visited": 0, "fields_at_threshold": 0, "fields_outside_stage": 3,
    "fields_treated": 0, "fields_with_assumed_economics": 0, "farms_given": 0, "farms": 3,
}
BIRCH_33 = BIRCH_32 | {"fields_outside_stage": 2, "farms": 2}
EXPECTED = {
    ("001", "2026-W30"): ASH_30, ("001", "2026-W31"): ASH_31, ("002", "2026-W30"): BIRCH_30,
    ("002", "2026-W31"): BIRCH_31, ("002", "2026-W32"): BIRCH_32, ("002", "2026-W33"): BIRCH_33,
}
# The Wilson ends above are worked out to four and six decimals, all else in full.
DECIMALS = {"share_low": 4, "share_high": 4}


def run(script, *given):
    return subprocess.run(
        [sys.executable, HERE / script, *map(str, given)], capture_output=True, text=True
    )


def write_season(folder):
    lines, good = season()
    (folder / "boundaries.json").write_text(json.dumps(BOUNDARIES))
    # Two files and a blank line, which is no record.
    (folder / "one.ndjson").write_text("\n".join(lines[:5]) + "\n\n")
    (folder / "two.ndjson").write_text("\n".join(lines[5:]))
    return len(lines), good


def read_rows(path):
    with open(path, newline="") as file:
        return {(row["county_id"], row["iso_week"]): row for row in csv.DictReader(file)}


def assert_expected(rows):
    assert list(rows) == list(EXPECTED), list(rows)
    for key, expected in EXPECTED.items():
        row = rows[key]
        assert row["season"] == "2026" and row["protocol"] == "bsm-eggs"
        for name, value in expected.items():
            if value is None or isinstance(value, str):
                assert row[name] == (value or ""), (key, name, row[name])
            else:
                difference = abs(float(row[name]) - value)
                assert difference <= 0.5 * 10 ** -DECIMALS.get(name, 11), (key, name, row[name])


def run_reference(folder):
    ran = run(
        "county_weeks.py", folder / "one.ndjson", folder / "two.ndjson", "--boundaries",
        folder / "boundaries.json", "--bounds", json.dumps(BOUNDS), "--out", folder / "plain",
    )
    assert ran.returncode == 0, ran.stderr
    return ran


def test_the_season_worked_by_hand(folder):
    received, good = write_season(folder)
    ran = run_reference(folder)
    assert json.loads(ran.stdout) == {
        "received": received, "accepted": good, "duplicate": 1, "held": len(REASONS),
    }
    assert ran.stderr.startswith("1 fields are exactly at their threshold")
    with open(folder / "plain" / "held.csv", newline="") as file:
        assert [row["reason"] for row in csv.DictReader(file)] == REASONS
    assert_expected(read_rows(folder / "plain" / "county_week_full.csv"))


def test_the_further_figures_worked_by_hand(folder):
    # 883 - 726 = 157 and 883 - 647 = 236 degree-days; 157 / 17.3 = 9.1 and 236 / 10.3 = 22.9 days.
    assert further_figures.days_to_treatment("R2") == (9, 23)
    assert further_figures.days_to_treatment("R3") == (4, 16)
    # 1 of 4 and 3 of 4: the variance of the shares, 1/16, is what chance gives them: both become 1/2. 0 of 8
    # and 8 of 8: nothing but difference, both stay. A county alone has none.
    assert further_figures.smoothed({"a": (1, 4), "b": (3, 4)}) == {"a": (0.5, 0.0), "b": (0.5, 0.0)}
    assert further_figures.smoothed({"a": (0, 8), "b": (8, 8)}) == {"a": (0.0, 1.0), "b": (1.0, 1.0)}
    assert further_figures.smoothed({"d": (1, 4), "b": (0, 0)}) == {}
    write_season(folder)
    run_reference(folder)
    rows = read_rows(folder / "plain" / "county_week_full.csv")
    assert rows["002", "2026-W32"]["window_opens"] == ""
    ash = rows["001", "2026-W30"]
    assert ash["window_opens"] < ash["window_closes"] and ash["fields_undetermined"] != ""


def test_economics_that_a_record_lacks_are_assumed_or_it_is_held(folder):
    bare = visit("a", "F1", "2026-07-21", WORKED)
    del bare["economics"]
    part = visit("b", "F2", "2026-07-21", WORKED, money={"market_value": ROUND["market_value"]})
    outside = visit("c", "F3", "2026-07-21", stage="R4", money={})
    whole = visit("d", "F4", "2026-07-21", WORKED)
    gap = {"oilseed": {name: DESIGN[name] for name in ("treatment_cost", "plant_population")}}

    def taken(defaults):
        (folder / "one.ndjson").write_text(
            "\n".join(json.dumps(record) for record in (bare, part, outside, whole))
        )
        (folder / "boundaries.json").write_text(json.dumps(BOUNDARIES))
        _, accepted, held = county_weeks.take_in(
            county_weeks.read_records([folder / "one.ndjson"]),
            read_counties(folder / "boundaries.json"), ("06-01", "09-30"), BOUNDS, defaults,
        )
        weeks = county_weeks.field_weeks(county_weeks.current_visits(accepted), defaults)
        [row] = county_weeks.county_weeks(weeks, {"001": "Ash"})
        return [entry["reason"] for entry in held], row, weeks

    held, row, weeks = taken({"oilseed": DESIGN})
    assert held == [] and row["fields_visited"] == 3, (held, row)
    assert row["fields_with_assumed_economics"] == 2 and row["fields_outside_stage"] == 1
    # a and d: 2 x 2.496 / 8 = 0.624; b: 2 x 0.20 x 20000 x 0.00078 / 8 = 0.78
    assert sorted(float(week["pressure"]) for week in weeks) == [0, 0.624, 0.624, 0.78]
    # What a default does not have is not guessed.
    held, row, _ = taken(gap)
    assert held == ["economics-missing"] * 2 and row["fields_visited"] == 2, (held, row)
    held, row, _ = taken({})
    assert held == ["economics-missing"] * 3 and row["fields_with_assumed_economics"] == 0


def test_the_order_of_loading_changes_no_figure(folder):
    write_season(folder)
    lines, good = season()
    # Not the conflict: there the first accepted is kept.
    (folder / "one.ndjson").write_text("\n".join(reversed(lines[:good])))
    (folder / "two.ndjson").write_text("")
    run_reference(folder)
    assert_expected(read_rows(folder / "plain" / "county_week_full.csv"))


def test_the_worked_visit_of_the_design(folder):
    worked = visit("a", "F1", "2026-07-21", WORKED)
    assert county_weeks.field_mean(worked) == 2
    assert round(float(county_weeks.threshold(worked)), 4) == 3.2051
    assert float(county_weeks.field_mean(worked) / county_weeks.threshold(worked)) == 0.624


def test_thresholds_worked_out_beside_the_program(folder):
    # 8 / (0.16 x 16000 x 0.00078) = 8 / 1.9968; 10 / 1.9968; 12 / (0.2 x 24000 x 0.00078) = 12 / 3.744
    for cost, value, plants, expected in [
        (8, 0.16, 16000, 4.006), (10, 0.16, 16000, 5.008), (12, 0.2, 24000, 3.205),
    ]:
        money = economics(cost, "acre", value, "lb", plants)
        found = county_weeks.threshold({"economics": money})
        assert round(float(found), 3) == expected, found


def test_iso_weeks_at_the_turn_of_the_year(folder):
    # ISO 8601: the week belongs to the year that has its Thursday.
    for day, expected in {
        "2020-12-31": (2020, "2020-W53"), "2021-01-01": (2020, "2020-W53"),
        "2024-12-30": (2025, "2025-W01"), "2026-01-01": (2026, "2026-W01"),
    }.items():
        assert county_weeks.iso_week({"observed_on": day}) == expected


def test_published_wilson_intervals(folder):
    # Newcombe 1998, Statistics in Medicine 17:857-872, method 3.
    for successes, trials, low, high in [
        (81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ]:
        found = county_weeks.wilson_interval(successes, trials)
        assert [round(end, 4) for end in found] == [low, high], found
    assert county_weeks.wilson_interval(0, 7)[0] == 0.0
    assert county_weeks.wilson_interval(7, 7)[1] == 1.0


def test_a_topology_gives_the_same_counties(folder):
    # The border of both squares is arc 1; Birch runs along it backwards.
    topology = {
        "type": "Topology",
        "transform": {"scale": [0.5, 0.25], "translate": [0, 0]},
        "objects": {
            "counties": {
                "type": "GeometryCollection",
                "geometries": [
                    {"type": "Polygon", "id": "001", "properties": {"name": "Ash"},
                     "arcs": [[0, 1]]},
                    {"type": "MultiPolygon", "id": "002", "properties": {"name": "Birch"},
                     "arcs": [[[~1, 2]], [[3]]]},
                ],
            }
        },
        "arcs": [
            [[2, 4], [-2, 0], [0, -4], [2, 0]], [[2, 0], [0, 4]],
            [[2, 0], [2, 0], [0, 4], [-2, 0]], [[8, 8], [0, 0], [0, 0]],
        ],
    }
    (folder / "topology.json").write_text(json.dumps(topology))
    counties = read_counties(folder / "topology.json")
    assert counties.names == {"001": "Ash", "002": "Birch"}
    places = counties.locate([0.5, 1.0, 1.5, 2.0, 2.1, 1.0], [0.5, 0.5, 0.5, 1.0, 0.5, 1.0])
    assert places == ["001", "001", "002", "002", None, "001"]
    assert list(read_counties(folder / "topology.json", states=["00"]).ids) == ["001", "002"]


def write_store(folder, accepted):
    """The columns of a store that the DuckDB reference reads, and a load without a receipt."""
    visits, units = [], []
    for (visit_id, revision), (record, county_id) in accepted.items():
        cost, value, plants = map(float, county_weeks.canonical_economics(record))
        year, week = county_weeks.iso_week(record)
        visits.append((
            "load-1", visit_id, revision, record.get("retracted"),
            datetime.date.fromisoformat(record["observed_on"]), year, week, record["protocol"],
            record["crop_stage"], record["field"]["field_id"], record["field"].get("farm_id"),
            county_id, record["field"]["area_ha"], cost, value, plants,
            float(county_weeks.field_mean(record)), record["field"]["crop_type"], 1.0, 1.0, 1.0,
            None, record.get("treated_on"), record.get("treatment"),
        ))
        for site in record["sites"]:
            for unit, counts in enumerate(site["heads"], start=1):
                units.append((
                    "load-1", visit_id, revision, year, site["site"], unit, sum(counts), counts,
                    None,
                ))
    visits += [("load-2", *row[1:2], 9, *row[3:]) for row in visits]
    units += [("load-2", row[1], 9, *row[3:]) for row in units]
    database = duckdb.connect()
    database.execute(
        "create table visits (load_id text, visit_id text, revision int, retracted boolean, "
        "observed_on date, season int, iso_week text, protocol text, crop_stage text, "
        "field_id text, farm_id text, county_id text, area_ha double, "
        "treatment_cost_per_ha double, market_value_per_kg double, plants_per_ha double, "
        "field_mean double, crop_type text, treatment_cost_amount double, "
        "market_value_amount double, plant_population_count double, assumed text, "
        "treated_on date, treatment text)"
    )
    database.execute(
        "create table units (load_id text, visit_id text, revision int, season int, site int, "
        "unit int, total int, counts int[], nights int)"
    )
    database.execute("create table receipts (load_id text)")
    database.executemany(f"insert into visits values ({', '.join('?' * 24)})", visits)
    database.executemany(f"insert into units values ({', '.join('?' * 9)})", units)
    database.execute("insert into receipts values ('load-1')")
    for table in ("visits", "units"):
        target = folder / table
        database.execute(f"copy {table} to '{target}' (format parquet, partition_by season)")
    (folder / "receipts" / "_delta_log").mkdir(parents=True)
    database.execute(f"copy receipts to '{folder / 'receipts' / 'part.parquet'}' (format parquet)")
    # A checkpoint of the log is Parquet, too, and no receipt.
    checkpoint = folder / "receipts" / "_delta_log" / "1.checkpoint.parquet"
    database.execute(f"copy (select 'load-2' as load_id) to '{checkpoint}' (format parquet)")
    return database


def run_duckdb(folder):
    return run(
        "county_weeks_duckdb.py", folder / "store", "--boundaries", folder / "boundaries.json",
        "--out", folder / "duckdb",
    )


def make_store(folder):
    write_season(folder)
    paths = [folder / "one.ndjson", folder / "two.ndjson"]
    counties = read_counties(folder / "boundaries.json")
    records = county_weeks.read_records(paths)
    _, accepted, _ = county_weeks.take_in(records, counties, ("06-01", "09-30"), BOUNDS)
    (folder / "store").mkdir()
    return write_store(folder / "store", accepted)


def test_duckdb_gives_the_same_season_from_parquet(folder):
    make_store(folder)
    ran = run_duckdb(folder)
    assert ran.returncode == 0, ran.stderr
    assert_expected(read_rows(folder / "duckdb" / "county_week_full.csv"))
    run_reference(folder)
    compared = run(
        "compare_county_weeks.py", folder / "plain" / "county_week_full.csv",
        folder / "duckdb" / "county_week_full.csv", *further_figures.FURTHER,
    )
    assert compared.returncode == 0, compared.stdout + compared.stderr
    # 6 rows; 12 figures, the county's name, the farms and how many fields name one
    assert compared.stdout.startswith("6 rows compared, 96 cells"), compared.stdout


def test_duckdb_refuses_a_stored_mean_that_is_not_the_mean_of_the_units(folder):
    database = make_store(folder)
    database.execute("update visits set field_mean = 2.00000000001 where visit_id = 'a'")
    for stale in (folder / "store" / "visits").rglob("*.parquet"):
        stale.unlink()
    database.execute(
        f"copy visits to '{folder / 'store' / 'visits'}' "
        "(format parquet, partition_by season, overwrite_or_ignore)"
    )
    ran = run_duckdb(folder)
    assert ran.returncode == 1 and "1 visits without units, or whose field_mean" in ran.stderr


def test_duckdb_refuses_economics_that_were_assumed_without_a_trace_or_a_default(folder):
    for change, says in [
        ("market_value_amount = null", "whose column assumed does not name"),
        ("market_value_amount = null, assumed = 'market_value'", "assume other economics than"),
    ]:
        part = folder / change[-12:].strip("'")
        part.mkdir()
        database = make_store(part)
        database.execute(f"update visits set {change} where visit_id = 'a'")
        for stale in (part / "store" / "visits").rglob("*.parquet"):
            stale.unlink()
        database.execute(
            f"copy visits to '{part / 'store' / 'visits'}' "
            "(format parquet, partition_by season, overwrite_or_ignore)"
        )
        ran = run_duckdb(part)
        assert ran.returncode == 1 and says in ran.stderr, ran.stderr


def test_the_comparison_names_what_differs(folder):
    write_season(folder)
    run_reference(folder)
    left = folder / "plain" / "county_week_full.csv"
    text = left.read_text()

    def compare(changed):
        (folder / "changed.csv").write_text(changed)
        return run("compare_county_weeks.py", left, folder / "changed.csv")

    assert compare(text).returncode == 0
    # A difference below 1e-9 is none; one above it is.
    assert "1.6152081944" in text
    near = compare(text.replace("1.6152081944", "1.6152081949"))
    assert near.returncode == 0 and "p90_pressure" in near.stdout
    far = compare(text.replace("1.6152081944", "1.6152081974"))
    assert far.returncode == 1 and "001 2026 2026-W30 bsm-eggs p90_pressure" in far.stdout
    word = compare(text.replace(",days", ",both", 1))
    assert word.returncode == 1 and "window_basis: days against both" in word.stdout
    count = compare(text.replace("bsm-eggs,0,3,0,0,", "bsm-eggs,0,3,0,,", 1))
    assert count.returncode == 1 and "fields_at_threshold: 0 against null" in count.stdout
    short = compare("\n".join(text.splitlines()[:-1]))
    assert short.returncode == 1 and "appears only in" in short.stdout
    column = compare(text.replace("max_pressure", "pressure_max"))
    assert column.returncode == 1 and "columns differ" in column.stderr


def main():
    tests = [test for name, test in globals().items() if name.startswith("test_")]
    for test in tests:
        with tempfile.TemporaryDirectory() as folder:
            test(pathlib.Path(folder))
        print(f"ok   {test.__name__}")
    print(f"{len(tests)} tests passed")


if __name__ == "__main__":
    main()
