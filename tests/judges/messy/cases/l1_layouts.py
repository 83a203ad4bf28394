"""L: layouts that offices use: header rows, a row a site, head or bract, days across, fields across, tabs joined."""

import features
import mapping as mappings
import writers
from kit import sheet_case
from sheet import Sheet, of_visit
from visits import changed, visits


def cases():
    return [
        two_header_rows(),
        two_header_rows_merged(),
        row_a_head(),
        row_a_bract(),
        first_row_alone(),
        row_a_site(),
        days_across(),
        transposed(),
        tabs_joined(),
        tab_a_field(),
        blocks(),
        totals_below(),
        title_and_units_row(),
        units_row(),
        columns_in_another_order(),
    ]


def two_header_rows(id="L-two-header-rows", merged=False):
    truth = visits()
    sheet = Sheet(truth)
    upper = [None] * len(sheet.columns)
    for place, column in enumerate(sheet.columns):
        if column[0] == "S" and column[2:3] == "H":
            site, rest = column[:2], column[2:]
            upper[place] = f"Site {site[1]}" if column.endswith("H1B1") else None
            sheet.rename(column, rest)
    sheet.above = [upper]
    counts = [
        (
            "namePattern",
            "^Site (?<site>[0-9]+) H(?<head>[0-9]+)B(?<bract>[0-9]+)$",
            "/sites/{site}/heads/{head}/{bract}",
        )
    ]

    def merge(path, grid):
        def style(book):
            book.worksheets[0].merge_cells(start_row=1, end_row=1, start_column=12, end_column=23)
            book.worksheets[0].merge_cells(start_row=1, end_row=1, start_column=24, end_column=35)

        writers.by_openpyxl(path, grid, style)

    merged_too = {"name": "sheet.xlsx", "write": merge} if merged else {}
    return sheet_case(
        id,
        "two header rows: Site 1 above H1B1",
        sheet,
        truth,
        counts=counts,
        dialect="headerRows = [1, 2]",
        **merged_too,
    )


def two_header_rows_merged():
    return two_header_rows("L-two-header-rows-merged", True)


def row_a_head():
    truth = visits()
    return sheet_case("L-row-a-head", "one row a head", Sheet(truth, "head"), truth)


def row_a_bract():
    truth = visits(2)
    return sheet_case("L-row-a-bract", "one row a bract", Sheet(truth, "bract"), truth)


def first_row_alone():
    truth = visits()
    sheet = Sheet(truth, "head")
    for place, row in enumerate(sheet.rows):
        if place % 4:
            for column in list(row)[:11]:
                row[column] = None
    return sheet_case(
        "L-first-row-alone",
        "what holds for a visit is in its first row alone",
        sheet,
        truth,
        rows='blankKey = "continues"',
    )


def row_a_site():
    truth = visits()
    sheet = Sheet(truth, "head")
    sheet.rows, sheet.columns = [], []
    for visit in truth:
        for site, heads in visit["counts"].items():
            sheet.rows.append(
                of_visit(visit)
                | {"Site": site}
                | {
                    f"H{number}B{bract}": count
                    for number, head in enumerate(heads, 1)
                    for bract, count in enumerate(head, 1)
                }
            )
    sheet.columns = list(sheet.rows[0])
    sheet.headers |= {column: column for column in sheet.columns if column not in sheet.headers}
    counts = [
        ("name", "Site", "/sites/{site}/site"),
        ("namePattern", "^H(?<head>[0-9]+)B(?<bract>[0-9]+)$", "/sites/{site}/heads/{head}/{bract}"),
    ]
    return sheet_case("L-row-a-site", "one row a site, H1B1 across", sheet, truth, layout="site", counts=counts)


def days_across():
    """Fields with site, head and bract as rows, a column a day."""
    base = visits(2)
    days = ["2026-07-20", "2026-07-27"]
    truth = [changed(visit, observed_on=day) for visit in base for day in days]
    rows = []
    for visit in base:
        for site, heads in visit["counts"].items():
            for number, head in enumerate(heads, 1):
                for bract, count in enumerate(head, 1):
                    row = of_visit(visit) | {"Site": site, "Head": number, "Bract": bract}
                    row.pop("date")
                    rows.append(row | {day: count for day in days})
    sheet = Sheet(base, "bract")
    sheet.rows, sheet.columns = rows, list(rows[0])
    sheet.headers |= {column: column for column in sheet.columns if column not in sheet.headers}
    text = features.days_across(sheet)
    return sheet_case(
        "L-days-across",
        "a row a bract, a column a day",
        sheet,
        truth,
        map_text=text,
        way=["namePattern", "day", "date"],
    )


def transposed():
    truth = visits(3)
    grid = [list(column) for column in zip(*Sheet(truth).grid())]
    sheet = Sheet(truth)
    text = features.transposed(sheet)
    return sheet_case(
        "L-transposed",
        "a column a visit, a row a member",
        sheet,
        truth,
        map_text=text,
        write=lambda path, _grid: writers.by_csv(path, grid),
        way=["transpose", "turned", "rows and columns", "across"],
    )


def tabs_joined():
    """Fields in one tab, counts in another, joined by the field's number."""
    truth = visits()
    whole = Sheet(truth, "head")
    fields = [["Field", *(whole.headers[name] for name in ("lon", "lat", "area", "crop"))]]
    fields += [[visit["field_id"], visit["lon"], visit["lat"], visit["acres"], visit["crop_type"]] for visit in truth]
    for column in ("lon", "lat", "area", "crop"):
        whole.drop(column)
    write = lambda path, grid: writers.by_openpyxl(path, {"Counts": grid, "Fields": fields})
    text = features.tabs_joined(whole)
    return sheet_case(
        "L-tabs-joined",
        "fields in one tab, counts in another, by the field's number",
        whole,
        truth,
        name="sheet.xlsx",
        write=write,
        map_text=text,
        way=["join", "tab", "sheet"],
    )


def tab_a_field():
    truth = visits()
    sheets = {}
    for visit in truth:
        sheet = Sheet([visit], "head").drop("field")
        sheets[f"Field {visit['field_id']}"] = sheet.grid()
    base = Sheet(truth, "head").drop("field")
    more = "\n".join(mappings.field("Field", "/field/field_id"))
    return sheet_case(
        "L-tab-a-field",
        "a tab a field, named by it",
        base,
        truth,
        name="sheet.xlsx",
        write=lambda path, grid: writers.by_openpyxl(path, sheets),
        dialect='sheetPattern = "^Field (?<Field>.+)$"',
        more=more,
    )


def blocks():
    truth = visits()
    grid = [["Egg counts of the north office"]]
    for visit in truth:
        grid.append(["Field", visit["field_id"], "Date", visit["observed_on"], "Scout", visit["observer_id"]])
        grid.append(
            [
                "Lon",
                visit["lon"],
                "Lat",
                visit["lat"],
                "Area",
                visit["acres"],
                "Crop",
                visit["crop_type"],
                "Stage",
                visit["crop_stage"],
            ]
        )
        grid.append(
            [
                "Cost",
                visit["treatment_cost"][0],
                "Price",
                visit["market_value"][0],
                "Plants",
                visit["plant_population"][0],
            ]
        )
        grid.append(["Site", "Head", *(f"B{bract}" for bract in range(1, 7))])
        for site, heads in visit["counts"].items():
            grid += [[site, number, *head] for number, head in enumerate(heads, 1)]
        grid.append([])
    sheet = Sheet(truth, "head")
    sheet.headers |= {"area": "Area", "cost": "Cost", "price": "Price", "stand": "Plants"}
    more = "\n".join(
        f"[[block]]\nmatches = '{pattern}'"
        for pattern in (
            r"^Field (?<Field>\S+) Date (?<Date>\S+) Scout (?<Scout>\S+)$",
            r"^Lon (?<Lon>\S+) Lat (?<Lat>\S+) Area (?<Area>\S+) Crop (?<Crop>\S+) Stage (?<Stage>\S+)$",
            r"^Cost (?<Cost>\S+) Price (?<Price>\S+) Plants (?<Plants>\S+)$",
        )
    )
    return sheet_case(
        "L-blocks",
        "a block a field with title rows",
        sheet,
        truth,
        dialect="headerRows = [5]",
        more=more,
        write=lambda path, _grid: writers.by_csv(path, grid),
    )


def totals_below():
    truth = visits()
    sheet = Sheet(truth, "head")
    sums = [sum(row[f"B{bract}"] for row in sheet.rows) for bract in range(1, 7)]
    sheet.below = [[], ["Total", *[None] * 12, *sums]]
    return sheet_case(
        "L-totals-below",
        "a row Total below, skipped by the mapping",
        sheet,
        truth,
        more="[[skip]]\nname = \"Field\"\nmatches = '^Total$'",
    )


def title_and_units_row():
    truth = visits()
    sheet = Sheet(truth)
    sheet.above = [["Egg counts, week 30"], [], ["North office"]]
    return sheet_case("L-title-rows", "three title rows above the header", sheet, truth)


def units_row():
    truth = visits()
    sheet = Sheet(truth)
    for column, header in {"area": "Area", "cost": "Cost", "price": "Price", "stand": "Plants"}.items():
        sheet.rename(column, header)
    units = {"area": "ac", "cost": "$/ac", "price": "$/lb", "stand": "per acre", "date": "y-m-d"}
    grid = sheet.grid()
    grid.insert(1, [units.get(column) for column in sheet.columns])
    return sheet_case(
        "L-units-row",
        "a row of units below the header, left out as a comment row",
        sheet,
        truth,
        dialect="commentRows = [2]",
        write=lambda path, _grid: writers.by_csv(path, grid),
    )


def columns_in_another_order():
    truth = visits()
    sheet = Sheet(truth)
    sheet.columns = [*reversed(sheet.columns)]
    return sheet_case("L-columns-reversed", "the columns in another order than the mapping's", sheet, truth)
