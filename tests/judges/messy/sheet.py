"""A sheet as rows of cells with names for its columns, in the layouts that offices use, bent by the cases."""

from openpyxl.utils import get_column_letter

HEADERS = {
    "field": "Field",
    "date": "Date",
    "scout": "Scout",
    "lon": "Lon",
    "lat": "Lat",
    "area": "Area (ac)",
    "crop": "Crop",
    "stage": "Stage",
    "cost": "Cost ($/ac)",
    "price": "Price ($/lb)",
    "stand": "Plants/ac",
}


class Sheet:
    """Rows of a table. `above` and `below` are rows without names; `rows` are dicts from a column's key to a value."""

    def __init__(self, visits, layout="wide"):
        self.headers = dict(HEADERS)
        self.above, self.below, self.rows = [], [], []
        self.name = "Visits"
        self.layout = layout
        for visit in visits:
            self.rows.extend(ROWS[layout](visit))
        for name in self.rows[0]:
            self.headers.setdefault(name, name)
        self.columns = list(self.rows[0])

    def set(self, row, column, value):
        self.rows[row][column] = value
        return self

    def all(self, column, change):
        """Every cell of a column through a function of the value."""
        for row in self.rows:
            row[column] = change(row[column])
        return self

    def add(self, column, values, before=None):
        place = self.columns.index(before) if before else len(self.columns)
        self.columns.insert(place, column)
        self.headers.setdefault(column, column)
        for row, value in zip(self.rows, values):
            row[column] = value
        return self

    def drop(self, column):
        self.columns.remove(column)
        return self

    def rename(self, column, header):
        self.headers[column] = header
        return self

    def cell(self, row, column):
        """The place of a cell as a spreadsheet names it, as I3."""
        return f"{get_column_letter(self.columns.index(column) + 1)}{len(self.above) + 2 + row}"

    def line(self, row):
        return len(self.above) + 2 + row

    def grid(self):
        header = [self.headers[column] for column in self.columns]
        rows = [[row.get(column) for column in self.columns] for row in self.rows]
        return [*self.above, header, *rows, *self.below]


def of_visit(visit):
    return {
        "field": visit["field_id"],
        "date": visit["observed_on"],
        "scout": visit["observer_id"],
        "lon": visit["lon"],
        "lat": visit["lat"],
        "area": visit["acres"],
        "crop": visit["crop_type"],
        "stage": visit["crop_stage"],
        "cost": visit["treatment_cost"][0],
        "price": visit["market_value"][0],
        "stand": visit["plant_population"][0],
    }


def wide(visit):
    counts = {
        f"S{site}H{number}B{bract}": count
        for site, heads in visit["counts"].items()
        for number, head in enumerate(heads, 1)
        for bract, count in enumerate(head, 1)
    }
    return [of_visit(visit) | counts]


def head(visit):
    return [
        of_visit(visit) | {"Site": site, "Head": number} | {f"B{bract}": count for bract, count in enumerate(head, 1)}
        for site, heads in visit["counts"].items()
        for number, head in enumerate(heads, 1)
    ]


def bud(visit):
    """One row a bud with the eggs of its six bracts together."""
    return [
        of_visit(visit) | {"Site": site, "Head": number, "Eggs": sum(head)}
        for site, heads in visit["counts"].items()
        for number, head in enumerate(heads, 1)
    ]


def wide_bud(visit):
    """One row a visit with one number a bud."""
    counts = {
        f"S{site}H{number}": sum(head)
        for site, heads in visit["counts"].items()
        for number, head in enumerate(heads, 1)
    }
    return [of_visit(visit) | counts]


def site_bud(visit):
    """One row a site with one number a bud."""
    return [
        of_visit(visit) | {"Site": site} | {f"Bud {number}": sum(head) for number, head in enumerate(heads, 1)}
        for site, heads in visit["counts"].items()
    ]


def bract(visit):
    return [
        of_visit(visit) | {"Site": site, "Head": number, "Bract": place, "Eggs": count}
        for site, heads in visit["counts"].items()
        for number, head in enumerate(heads, 1)
        for place, count in enumerate(head, 1)
    ]


ROWS = {"wide": wide, "head": head, "bud": bud, "wide_bud": wide_bud, "site_bud": site_bud, "bract": bract}
