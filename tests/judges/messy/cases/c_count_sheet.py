"""C: our count sheet, filled and changed by people and other programs."""

import datetime

import openpyxl

import writers
from case import Bad, Case
from visits import visits

SHEET = "count-sheet-bsm-eggs.xlsx"


def cases():
    return [
        filled("plain", "filled as asked"),
        filled(
            "total-column",
            "a column Total of the scout's own next to the counts",
            total_column,
            way=["Total", "column"],
        ),
        filled("own-note-column", "a column of the scout's own next to the visits", note_column),
        filled(
            "hidden-tab-lost",
            "the hidden tab is lost, as some programs lose it",
            lambda book: book.remove(book["bractline"]),
        ),
        filled(
            "acres-heading",
            "the heading was changed to Area (acres)",
            acres_heading,
            truth=[],
            bad=[Bad("area_ha", ["H1", "H2", "Visits", "column H"], None, ["acres", "heading"])],
        ),
        filled("acres-in-cell", "areas typed as 100 ac", acres_in_cell),
        filled("us-dates", "days typed as 7/20/2026 text", us_dates),
        filled("rows-sorted", "the counts sorted by site", rows_sorted),
        filled("tab-renamed", "the tab Visits renamed to Week 30", tab_renamed),
        filled("title-row", "a title row put above the visits", title_row),
        filled("spare-rows-deleted", "empty rows deleted", spare_rows),
        filled("dash-for-none", "a dash for 0", dash_for_none),
        filled("letter-o", "the letter O for 0 in one count", letter_o, bad_visit=0, cell=["Counts", "E2"]),
        filled("lower-stage", "crop stage typed as r3", lower_stage),
        filled("by-libreoffice-xls", "saved as XLS by LibreOffice", name="sheet.xls", convert=True),
        filled("by-libreoffice-ods", "saved as ODS by LibreOffice", name="sheet.ods", convert=True),
        filled(
            "counts-one-tab-csv",
            "saved as CSV: only the first tab is left",
            name="sheet.csv",
            convert=True,
            truth=[],
            bad=[Bad("file", ["sheet.csv"], None, ["tab", "one sheet", "XLSX", "Instructions", "count sheet"])],
        ),
        filled(
            "head-row-deleted",
            "a row of a head deleted",
            head_deleted,
            truth_from=1,
            bad=[Bad("counts", ["Counts", "row", "Visit"], ("F-101", "2026-07-20"), ["head"])],
        ),
        filled("negative-count", "a negative count", negative, bad_visit=0, cell=["Counts", "E2"]),
        filled(
            "lon-without-minus",
            "longitudes without the minus",
            lon_without_minus,
            truth=[],
            bad=[Bad("lon", ["F2", "Visits!A2"], None, ["longitude", "county"])],
        ),
        filled("cost-with-dollar", "costs typed as $8.00 text", cost_with_dollar),
        filled(
            "empty",
            "an empty sheet sent back",
            None,
            fill=False,
            truth=[],
            bad=[Bad("file", ["sheet.xlsx"], None, ["empty", "no visit", "nothing", "0 received"])],
        ),
    ]


def filled(
    id,
    story,
    change=None,
    *,
    name="sheet.xlsx",
    convert=False,
    fill=True,
    truth=None,
    bad=(),
    bad_visit=None,
    cell=(),
    truth_from=0,
    way=(),
):
    meant = [visit for place, visit in enumerate(visits(2)) if place != bad_visit][truth_from:]
    if bad_visit is not None:
        of = visits(2)[bad_visit]
        bad = [Bad("counts", list(cell), (of["field_id"], of["observed_on"]), ["bract"])]
    meant = meant if truth is None else truth

    def make(run):
        run.bractline(
            "sheet", "--protocol", "bsm-eggs", "--out", "out", "--visits", "4", "--sites", "2", "--season", "2026"
        )
        book = openpyxl.load_workbook(run.path / "out" / SHEET)
        if fill:
            fill_visits(book, visits(2))
        if change:
            change(book)
        filled_sheet = run.path / "sheet.xlsx"
        book.save(filled_sheet)
        if convert:
            target = run.path / name
            writers.by_libreoffice(filled_sheet, target)
            filled_sheet.unlink()

    steps = [make, ["load", name]]
    return Case(f"C-{id}", story, lambda folder: None, steps, meant, list(bad), [], list(way))


def columns(page, row=1):
    """Column numbers by the first line of their headings."""
    return {str(cell.value).split("\n")[0]: cell.column for cell in page[row] if cell.value}


def fill_visits(book, of):
    page = book["Visits"]
    at = columns(page)
    for number, visit in enumerate(of, 1):
        cost, price, stand = visit["treatment_cost"], visit["market_value"], visit["plant_population"]
        values = {
            "Day": datetime.date.fromisoformat(visit["observed_on"]),
            "Scout": visit["observer_id"],
            "Field": visit["field_id"],
            "Longitude": visit["lon"],
            "Latitude": visit["lat"],
            "Crop type": visit["crop_type"],
            "Crop stage": visit["crop_stage"],
            "Treatment cost": cost[0],
            "Cost per": cost[1],
            "Currency": cost[2],
            "Market value": price[0],
            "Value per": price[1],
            "Plants": stand[0],
            "Plants per": stand[1],
            "Handed in": datetime.datetime(2026, 8, 10, 12),
        }
        values |= {"Area": visit["acres"], "Area in": "acre"} if "Area in" in at else {"Area": visit["area_ha"]}
        for heading, value in values.items():
            if heading in at:
                page.cell(number + 1, at[heading], value)
    counts = book["Counts"]
    at = columns(counts)
    for row in range(2, counts.max_row + 1):
        number, site, head = (counts.cell(row, at[name]).value for name in ("Visit", "Site", "Head"))
        if number and number <= len(of) and head <= 2:
            for bract, count in enumerate(of[number - 1]["counts"][site][head - 1], 1):
                counts.cell(row, at[f"Bract {bract}"], count)


def cell_of(book, tab, heading, row):
    return book[tab].cell(row, columns(book[tab])[heading])


def total_column(book):
    page = book["Counts"]
    place = page.max_column + 1
    page.cell(1, place, "Total")
    for row in range(2, page.max_row + 1):
        page.cell(row, place, f"=SUM(E{row}:J{row})")


def note_column(book):
    page = book["Visits"]
    place = page.max_column + 1
    page.cell(1, place, "My note")
    page.cell(2, place, "gate on the west side")


def acres_heading(book):
    cell = cell_of(book, "Visits", "Area", 1)
    cell.value = "Area\n(acres)"
    for row, visit in enumerate(visits(2), 2):
        cell_of(book, "Visits", "Area", row).value = visit["acres"]


def acres_in_cell(book):
    for row, visit in enumerate(visits(2), 2):
        cell_of(book, "Visits", "Area", row).value = f"{visit['acres']} ac"


def us_dates(book):
    for row in (2, 3):
        cell = cell_of(book, "Visits", "Day", row)
        cell.value = f"{cell.value.month}/{cell.value.day}/{cell.value.year}"


def rows_sorted(book):
    page = book["Counts"]
    rows = [[cell.value for cell in row] for row in page.iter_rows(min_row=2)]
    rows.sort(key=lambda row: (row[1] or 0, row[0] or 0, row[3] or 0))
    for number, row in enumerate(rows, 2):
        for place, value in enumerate(row, 1):
            page.cell(number, place).value = value


def tab_renamed(book):
    book["Visits"].title = "Week 30"


def title_row(book):
    book["Visits"].insert_rows(1)
    book["Visits"]["A1"] = "North office, week 30"


def spare_rows(book):
    book["Visits"].delete_rows(4, 2)
    page = book["Counts"]
    for row in range(page.max_row, 1, -1):
        if page.cell(row, 5).value is None:
            page.delete_rows(row)


def dash_for_none(book):
    for row in book["Counts"].iter_rows(min_row=2, min_col=5):
        for cell in row:
            if cell.value == 0:
                cell.value = "-"


def letter_o(book):
    book["Counts"]["E2"] = "O"


def negative(book):
    book["Counts"]["E2"] = -2


def lower_stage(book):
    for row in (2, 3):
        cell = cell_of(book, "Visits", "Crop stage", row)
        cell.value = cell.value.lower()


def head_deleted(book):
    book["Counts"].delete_rows(3)


def lon_without_minus(book):
    for row in (2, 3):
        cell = cell_of(book, "Visits", "Longitude", row)
        cell.value = -cell.value


def cost_with_dollar(book):
    for row in (2, 3):
        cell = cell_of(book, "Visits", "Treatment cost", row)
        cell.value = f"${cell.value:.2f}"
