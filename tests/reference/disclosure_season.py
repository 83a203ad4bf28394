"""An invented season with outbreak weeks, in three batches of submissions, for the attacks on what is published.

    disclosure_season.py FOLDER [--seed 7] [--without-farms]

Writes region.geojson (24 square counties in 4 districts) and batch-1.ndjson to batch-3.ndjson: about 300 fields of some 150
farms over six weeks. Everything is invented: places, farms, fields, counts and prices are those of a random number generator.
What makes it hard to publish: farms with many fields, farms in two counties, fields without a farm id, ids spelled in several
ways, counties of one or two fields, visits that come late in the second and third batch (often all of a farm's together),
corrections and retractions, and levels of 0.3 to 2 times the threshold in the outbreak weeks.
"""

import argparse
import datetime
import json
import pathlib

import numpy

COLUMNS, ROWS = 6, 4
# Width of a county in degrees; the corner of the region is in no country of growers, on purpose.
WIDTH, WEST, SOUTH = 0.5, -30.0, 40.0
DISTRICTS = ["NORTHWEST", "NORTHEAST", "SOUTHWEST", "SOUTHEAST"]
# Fields of the counties: from none to more than any rule asks for.
FIELDS = [0, 1, 2, 3, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 18, 20, 22, 26, 32, 44]
FIRST_MONDAY = datetime.date(2026, 7, 6)
WEEKS = 6
OUTBREAK = {2, 3, 4}
# The stages seen in each of the weeks: the window of the protocol is R2 to R3.
STAGES = [
    ["V12", "R1", "R1", "R2", "R2"], ["R1", "R2", "R2", "R2", "R2", "R3"], ["R2", "R2", "R3", "R3", "R3"],
    ["R2", "R3", "R3", "R3", "R3", "R4"], ["R3", "R3", "R3", "R4", "R5.1"], ["R3", "R3", "R4", "R5.1", "R5.3", "R6"],
]
SITES, HEADS, BRACTS = 4, 5, 6
# Shape of the gamma distribution between fields of a county and between heads of a field: k of the negative binomial.
BETWEEN_FIELDS, BETWEEN_HEADS = 1.0, 0.8
LOSS_LB = 0.00078


def county_id(number):
    return f"Z{number + 1:02}"


def region():
    features = []
    for number in range(COLUMNS * ROWS):
        column, row = number % COLUMNS, number // COLUMNS
        west, south = WEST + column * WIDTH, SOUTH + row * WIDTH
        east, north = west + WIDTH, south + WIDTH
        features.append({
            "type": "Feature",
            "id": county_id(number),
            "properties": {
                "county_id": county_id(number),
                "county_name": f"County {number + 1} (invented)",
                "DISTRICT": DISTRICTS[2 * (row < ROWS // 2) + (column >= COLUMNS // 2)],
            },
            "geometry": {"type": "Polygon", "coordinates": [
                [[west, south], [east, south], [east, north], [west, north], [west, south]]
            ]},
        })
    return {"type": "FeatureCollection", "title": "An invented region", "features": features}


class Season:
    def __init__(self, seed, with_farms):
        self.random = numpy.random.default_rng(seed)
        self.with_farms = with_farms
        self.fields = self.make_fields()
        self.batches = {1: [], 2: [], 3: []}

    def make_fields(self):
        """Fields with their county, farm and what stays the same over the season."""
        fields, farm = [], 0
        for number, count in enumerate(self.random.permutation(FIELDS)):
            left, first = int(count), True
            while left:
                # The first farm of a county may also be the last of the county before.
                if not (first and farm and self.random.random() < 0.3):
                    farm += 1
                first = False
                size = min(left, int(self.random.choice([1, 1, 1, 1, 2, 2, 3, 6])))
                fields += [self.field(len(fields) + at, number, farm) for at in range(size)]
                left -= size
        return fields

    def field(self, serial, county, farm):
        column, row = county % COLUMNS, county // COLUMNS
        across, up = self.random.uniform(0.02, 0.98, 2)
        cost = float(self.random.choice([7.5, 8.0, 9.25, 11.0]))
        value = float(self.random.choice([0.14, 0.16, 0.19]))
        plants = int(self.random.choice([17000, 20000, 23000]))
        return {
            "serial": serial,
            "county": county,
            "farm": farm if self.random.random() > 0.12 else None,
            "lon": round(WEST + (column + float(across)) * WIDTH, 5),
            "lat": round(SOUTH + (row + float(up)) * WIDTH, 5),
            "area": round(float(self.random.lognormal(3.5, 0.6)), 1),
            # The field's own level among its neighbors: a part of the scatter stays over the weeks.
            "level": float(self.random.gamma(BETWEEN_FIELDS, 1 / BETWEEN_FIELDS)),
            "economics": (cost, value, plants) if self.random.random() > 0.1 else None,
            "threshold": cost / (value * plants * LOSS_LB),
        }

    def spelled(self, farm):
        """The farm's id in one of the ways in which scouts write it."""
        forms = [f"farm-{farm:03}", f"farm-{farm:03}", f"Farm {farm:03}", f"FARM{farm:03}"]
        return str(self.random.choice(forms))

    def counts(self, mean):
        """Eggs per bract for each site and head; `mean` is that of a head."""
        sites = []
        for number in range(SITES):
            heads = []
            for _ in range(HEADS):
                eggs = self.random.poisson(self.random.gamma(BETWEEN_HEADS, mean / BETWEEN_HEADS))
                heads.append([int(one) for one in self.random.multinomial(eggs, [1 / BRACTS] * BRACTS)])
            sites.append({"site": number + 1, "heads": heads})
        return sites

    def visit(self, field, week, stage, level):
        day = FIRST_MONDAY + datetime.timedelta(days=7 * week + int(self.random.integers(0, 7)))
        place = {
            "field_id": f"field-{field['serial']:04}", "lon": field["lon"], "lat": field["lat"],
            "area_ha": field["area"], "crop_type": "oilseed",
        }
        if field["farm"] is not None and self.with_farms:
            place["farm_id"] = self.spelled(field["farm"])
        visit = {
            "schema_version": "1.0", "visit_id": f"visit-{week}-{field['serial']:04}", "revision": 1,
            "observed_on": day.isoformat(), "submitted_at": f"{day}T20:00:00Z",
            "observer_id": f"scout-{field['county']:02}", "field": place, "protocol": "bsm-eggs",
            "crop_stage": stage, "sites": self.counts(level * field["threshold"]),
            "remarks": "invented",
        }
        if field["economics"] is not None:
            cost, value, plants = field["economics"]
            visit["economics"] = {
                "treatment_cost": {"amount": cost, "per": "acre", "currency": "USD"},
                "market_value": {"amount": value, "per": "lb", "currency": "USD"},
                "plant_population": {"count": plants, "per": "acre"},
            }
        return visit

    def batch_of(self, week, farm_is_late):
        """When a visit arrives: the weeks of the start in the first batch, the last two in the second, and some late."""
        first = 1 if week < WEEKS - 2 else 2
        late = farm_is_late or self.random.random() < 0.1
        return min(3, first + late * int(self.random.choice([1, 1, 2])))

    def make(self):
        """Fills the batches."""
        for week in range(WEEKS):
            low, high = (0.3, 2.0) if week in OUTBREAK else (0.02, 0.4)
            levels = self.random.uniform(low, high, COLUMNS * ROWS)
            late = {farm: self.random.random() < 0.2 for farm in {field["farm"] for field in self.fields}}
            late[None] = False
            for field in self.fields:
                if self.random.random() < 0.2:
                    continue
                # Half of the scatter between fields is new every week.
                level = levels[field["county"]] * (field["level"] + self.random.gamma(BETWEEN_FIELDS, 1 / BETWEEN_FIELDS)) / 2
                visit = self.visit(field, week, str(self.random.choice(STAGES[week])), float(level))
                batch = self.batch_of(week, late[field["farm"]])
                self.batches[batch].append(visit)
                if batch < 3:
                    self.change(visit, batch, float(level) * field["threshold"])
        # Corrections that an office makes for a whole county: prices of many fields at once.
        self.correct_counties()

    def change(self, visit, batch, mean):
        """Now and then a correction of the counts or a retraction, in a later batch."""
        chance = self.random.random()
        if chance > 0.05:
            return
        changed = {**visit, "revision": 2}
        if chance < 0.015:
            changed["retracted"] = True
        else:
            changed["sites"] = self.counts(mean)
        self.batches[min(3, batch + 1)].append(changed)

    def correct_counties(self):
        """In the third batch every sixth county's visits of one outbreak week have another treatment cost."""
        for visit in [*self.batches[1]]:
            county = int(visit["observer_id"][-2:])
            monday = FIRST_MONDAY + datetime.timedelta(days=14)
            in_week = 0 <= (datetime.date.fromisoformat(visit["observed_on"]) - monday).days < 7
            if county % 4 == 1 and in_week and "economics" in visit:
                changed = json.loads(json.dumps(visit)) | {"revision": 3}
                changed["economics"]["treatment_cost"]["amount"] += 1.5
                self.batches[3].append(changed)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--without-farms", action="store_true", help="no visit names a farm")
    given = parser.parse_args()
    season = Season(given.seed, not given.without_farms)
    season.make()
    given.folder.mkdir(parents=True, exist_ok=True)
    (given.folder / "region.geojson").write_text(json.dumps(region()) + "\n")
    for batch, visits in season.batches.items():
        text = "".join(json.dumps(visit) + "\n" for visit in visits)
        (given.folder / f"batch-{batch}.ndjson").write_text(text)
    farms = {field["farm"] for field in season.fields}
    print(json.dumps({
        "invented": True, "fields": len(season.fields), "farms": len(farms - {None}),
        "visits": {batch: len(visits) for batch, visits in season.batches.items()},
    }))


if __name__ == "__main__":
    main()
