"""Eight invented counties that are hard to publish, in two batches of submissions: small, of one farm, or with one dominant farm.

    disclosure_small_counties.py FOLDER

Writes region.geojson, batch-1.ndjson, and batch-2.ndjson with one late visit (Z06) and one retraction (Z01). Everything is
invented. Z01: 3 fields of 3 farms. Z02: 3 fields, none with a farm id. Z03: 3 fields, one with a farm id. Z04: 18 fields of one
farm and 2 small ones of two others. Z05: 2 fields. Z06: 10 fields of 10 farms. Z07: 3 fields, and one outside the stage window.
Z08: 3 fields of one farm, whose id is spelled in three ways.
"""

import json
import pathlib
import sys

import numpy

from disclosure_season import COLUMNS, SOUTH, WEST, WIDTH, Season, region

COUNTIES = {
    1: ["farm-a", "farm-b", "farm-c"],
    2: [None, None, None],
    3: ["farm-d", None, None],
    4: ["farm-e"] * 18 + ["farm-f", "farm-g"],
    5: ["farm-h", "farm-i"],
    6: [f"farm-six-{number}" for number in range(11)],
    7: ["farm-j", "farm-k", "farm-l", "farm-m"],
    8: ["Farm-Vary1", "farm-vary1", "farm vary1"],
}
WEEK = 2
LEVEL = 0.5


def visit(season, county, number, farm):
    column, row = (county - 1) % COLUMNS, (county - 1) // COLUMNS
    field = {
        "serial": 100 * county + number, "county": county, "farm": None,
        "lon": round(WEST + (column + 0.1 + 0.04 * number) * WIDTH, 5), "lat": round(SOUTH + (row + 0.5) * WIDTH, 5),
        "area": 22.2 if county == 4 and number < 18 else 1.5 if county == 4 else round(20 + 7.3 * number, 1),
        "economics": [(8.0, 0.16, 20000), (9.25, 0.14, 23000), (11.0, 0.19, 17000)][number % 3],
    }
    cost, value, plants = field["economics"]
    field["threshold"] = cost / (value * plants * 0.00078)
    tiny = county == 4 and number >= 18
    stage = "R5.1" if (county, number) == (7, 3) else "R3"
    made = season.visit(field, WEEK, stage, 0.0 if tiny else LEVEL * (0.4 + number % 5))
    if farm is not None:
        made["field"]["farm_id"] = farm
    return made


def main():
    folder = pathlib.Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    season = Season(23, True)
    season.random = numpy.random.default_rng(23)
    visits = {
        (county, number): visit(season, county, number, farm)
        for county, farms in COUNTIES.items() for number, farm in enumerate(farms)
    }
    late = visits.pop((6, 10))
    retracted = {**visits[1, 2], "revision": 2, "retracted": True}
    (folder / "region.geojson").write_text(json.dumps(region()) + "\n")
    for batch, part in {1: visits.values(), 2: [late, retracted]}.items():
        (folder / f"batch-{batch}.ndjson").write_text("".join(json.dumps(one) + "\n" for one in part))
    print(json.dumps({"invented": True, "visits": len(visits) + 2}))


if __name__ == "__main__":
    main()
