"""A sheet of the truth as somebody might hand it in, and the mapping file that says what it is.

`BentSheet` begins as a plain layout; the distortions of `tables.py` and `cells.py` bend it, and with it the
mapping and what is to be expected. Nothing here writes files.
"""

import datetime
import json

from truth import ACRES_TO_HECTARES, SUBMITTED

# Column: header, target, reading by the mapping.
VISIT_COLUMNS = {
    "field": ("Field ID", "/field/field_id", {}),
    "farm": ("Farm", "/field/farm_id", {}),
    "county": ("County", "/field/county_id", {}),
    "day": ("Date", "/observed_on", {}),
    "scout": ("Scout", "/observer_id", {}),
    "lon": ("Longitude", "/field/lon", {}),
    "lat": ("Latitude", "/field/lat", {}),
    "area": ("Area (ac)", "/field/area_ha", {"unit": "acre"}),
    "type": ("Crop type", "/field/crop_type", {}),
    "stage": ("Stage", "/crop_stage", {}),
    "cost": ("Cost", "/economics/treatment_cost/amount", {"unit": "USD/acre"}),
    "price": ("Price", "/economics/market_value/amount", {"unit": "USD/lb"}),
    "plants": ("Plants", "/economics/plant_population/count", {"unit": "1/acre"}),
    "remarks": ("Remarks", "/remarks", {}),
}
KEY = ["/field/field_id", "/observed_on"]
COUNT = "/sites/{site}/heads/{head}/{bract}"


def visit_cells(visit):
    """What a sheet says of a visit, by column."""
    field, economics = visit["field"], visit["economics"]
    return {
        "field": field["field_id"],
        "farm": field["farm_id"],
        "county": field["county_id"],
        "day": datetime.date.fromisoformat(visit["observed_on"]),
        "scout": visit["observer_id"],
        "lon": field["lon"],
        "lat": field["lat"],
        "area": round(field["area_ha"] / ACRES_TO_HECTARES, 4),
        "type": field["crop_type"],
        "stage": visit["crop_stage"],
        "cost": economics["treatment_cost"]["amount"],
        "price": economics["market_value"]["amount"],
        "plants": economics["plant_population"]["count"],
        "remarks": visit.get("remarks"),
        "_visit": visit["visit_id"],
    }


class BentSheet:
    """Columns, rows and mapping of one file, and what is to be expected of it."""

    def __init__(self, visits, layout="visit"):
        self.visits = visits
        self.name = "Visits"
        self.columns = list(VISIT_COLUMNS)
        self.headers = {key: VISIT_COLUMNS[key][0] for key in self.columns}
        self.fields = {key: {"to": VISIT_COLUMNS[key][1], **VISIT_COLUMNS[key][2]} for key in self.columns}
        self.plan = {"rowIs": layout}
        self.dialect, self.schema = {}, {}
        self.constant = {"/submitted_at": SUBMITTED, "/protocol": "bsm-eggs"}
        self.skips, self.blocks, self.ignore = [], [], []
        self.above = []  # rows above the header
        self.upper = []  # upper rows of the header: text of each column, and how many columns it spans
        self.sheets = None  # several sheets: name → rows
        self.looks = []  # what only some writers can do: (what, where)
        self.carried = False  # whether key cells hold for the rows below them
        self.distortions = []
        self.held = {}  # visit → what the message must say
        self.unkeyed = None  # what the message must say of rows that name no visit
        self.refused = None
        self.id_of = ["/field/field_id", "/observed_on", "/observer_id"]
        getattr(self, f"lay_out_by_{layout}")()
        if layout != "visit":
            self.plan["visitKey"] = KEY

    def add(self, key, header, field):
        self.columns.append(key)
        self.headers[key] = header
        if field is not None:
            self.fields[key] = field

    def drop(self, key):
        """A column that the sheet does not have."""
        self.columns.remove(key)
        del self.headers[key]
        return self.fields.pop(key, None)

    def lay_out_by_visit(self):
        """One row a visit, a column a bract: S1H1B1."""
        self.rows = [visit_cells(visit) for visit in self.visits]
        for site in (1, 2):
            self.add(f"side{site}", f"S{site} side", None)
            for row, visit in zip(self.rows, self.visits):
                row[f"side{site}"] = visit["sites"][site - 1]["side"]
            for head in (1, 2):
                for bract in range(1, 7):
                    key = f"S{site}H{head}B{bract}"
                    self.add(key, key, None)
                    for row, visit in zip(self.rows, self.visits):
                        row[key] = visit["sites"][site - 1]["heads"][head - 1][bract - 1]
        self.fields["sides"] = {"namePattern": r"^S(?<site>[0-9]+) side$", "to": "/sites/{site}/side"}
        self.fields["counts"] = {"namePattern": r"^S(?<site>[0-9]+)H(?<head>[0-9]+)B(?<bract>[0-9]+)$", "to": COUNT}

    def lay_out_by_head(self):
        """One row a head, a column a bract: B1."""
        self.add("site", "Site", {"to": "/sites/{site}/site"})
        self.add("side", "Side", {"to": "/sites/{site}/side"})
        self.add("head", "Head", {"to": "{head}"})
        for bract in range(1, 7):
            self.add(f"B{bract}", f"B{bract}", None)
        self.fields["counts"] = {"namePattern": "^B(?<bract>[0-9]+)$", "to": COUNT}
        self.rows = []
        for visit in self.visits:
            for site in visit["sites"]:
                for number, head in enumerate(site["heads"], 1):
                    counts = {f"B{bract}": count for bract, count in enumerate(head, 1)}
                    where = {"site": site["site"], "side": site["side"], "head": number}
                    self.rows.append({**visit_cells(visit), **where, **counts})

    def lay_out_by_bract(self):
        """One row a bract."""
        self.lay_out_by_head()
        by_head, self.rows = self.rows, []
        del self.fields["counts"]
        for bract in range(1, 7):
            self.drop(f"B{bract}")
        self.add("bract", "Bract", {"to": "{bract}"})
        self.add("eggs", "Eggs", {"to": COUNT})
        for row in by_head:
            for bract in range(1, 7):
                self.rows.append({**row, "bract": bract, "eggs": row[f"B{bract}"]})

    def change(self, key, change):
        """Changes every cell of a column."""
        for row in self.rows:
            if key in row:
                row[key] = change(row[key])

    def counts(self):
        """The columns of counts."""
        return [key for key in self.columns if key[0] in "SB" and key[-1].isdigit() and key[-2] == "B"] or ["eggs"]

    def hold(self, places, *words):
        """The visits at these places are to be held, with words that the message must hold."""
        for place in places:
            self.held.setdefault(self.visits[place]["visit_id"], []).extend(words)

    def grid(self):
        """The rows of the sheet, from the first one on."""
        rows = [list(row) for row in self.above]
        for texts in self.upper:
            rows.append(list(texts))
        rows.append([self.headers[key] for key in self.columns])
        return rows + self.body(self.rows)

    def body(self, rows):
        return [row["_raw"] if "_raw" in row else [row.get(key) for key in self.columns] for row in rows]

    def expected_held(self):
        """What the messages must say, for each record that is to be held, in the order of first rows."""
        expected, seen = [], set()
        for row in self.rows:
            visit = row.get("_visit", "")
            if visit is None:
                expected.append(self.unkeyed)
            elif visit in self.held and visit not in seen:
                seen.add(visit)
                expected.append(self.held[visit])
        return expected

    def header_row(self):
        """The number of the last row of the header, from 1."""
        return len(self.above) + len(self.upper) + 1

    def mapping(self):
        """The mapping file: TOML."""
        header = list(range(len(self.above) + 1, self.header_row() + 1))
        dialect = {**({} if header == [1] else {"headerRows": header}), **self.dialect}
        parts = ['mapping = "1"', 'target = "visit/1.0"', 'title = "Made for a test; all invented"']
        parts.append(f"ignore = {toml(self.ignore)}")
        for name, table in [("dialect", dialect), ("schema", self.schema), ("rows", self.plan)]:
            parts += [f"[{name}]", *lines(table)] if table else []
        parts += ["[visitId]", *lines({"from": self.id_of, "prefix": "truth"}), "[constant]", *lines(self.constant)]
        for name, tables in [("skip", self.skips), ("block", self.blocks)]:
            for table in tables:
                parts += [f"[[{name}]]", *lines(table)]
        for key, field in self.fields.items():
            chosen = {"name", "column", "namePattern", "cell"} & set(field)
            parts += ["[[field]]", *lines(field if chosen else {"name": self.headers[key], **field})]
        return "\n".join(parts) + "\n"


def lines(table):
    return [f"{json.dumps(key)} = {toml(value)}" for key, value in table.items()]


def toml(value):
    if isinstance(value, dict):
        return "{ " + ", ".join(lines(value)) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(toml(item) for item in value) + "]"
    return json.dumps(value, ensure_ascii=False)


def distortion(number):
    """Marks a function as the distortion of this number in the list of 21; a sheet remembers what bent it."""

    def mark(bend):
        def bent(sheet, *arguments, **named):
            sheet.distortions.append(number)
            return bend(sheet, *arguments, **named)

        bent.__name__ = bend.__name__
        return bent

    return mark
