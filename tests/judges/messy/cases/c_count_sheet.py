"""C: our count sheet, filled and changed by people and other programs."""

import datetime

import openpyxl

import writers
from case import Bad, Case
from kit import says
from visits import bud_totals, visits

SHEET = "count-sheet-bsm-eggs.xlsx"


def cases():
    return [
        filled("plain", "filled as asked"),
        filled(
            "total-column",
            "a column Total of the scout's own next to the counts",
            total_column,
            said=['"Total"'],
        ),
        filled("own-note-column", "a column of the scout's own next to the visits", note_column, said=["My note"]),
        filled(
            "initials-column",
            "a column Initials of the scout's own next to the counts",
            initials,
            said=["Initials"],
        ),
        filled(
            "hidden-tab-lost",
            "the hidden tab is lost, as some programs lose it",
            lambda book: book.remove(book["bractline"]),
        ),
        filled(
            "hidden-tab-and-instructions-lost",
            "the hidden tab is lost, and the instructions were deleted",
            hidden_tab_and_instructions,
            truth=[],
            bad=[Bad("file", ["sheet.xlsx"], None, ["hidden tab"])],
        ),
        filled("acres-heading", "the heading was changed to Area (acres)", acres_heading),
        filled(
            "acres-heading-alone",
            "the heading was changed to Area (acres), the column Area in deleted",
            acres_heading_alone,
        ),
        filled(
            "acres-against-heading",
            "the heading was changed to Area (ha), the unit chosen is the acre",
            lambda book: head(book, "Visits", "Area", "Area (ha)"),
            truth=[],
            bad=[Bad("area_ha", ["H1", "H2"], None, ["area"])],
        ),
        filled(
            "area-unit-blank",
            "no unit of the area chosen",
            lambda book: clear(book, "Visits", "Area in"),
            truth=[],
            bad=[Bad("area_ha", ["I2"], None, ["area in"])],
        ),
        filled(
            "area-unit-renamed",
            "the heading Area in was changed to Unit",
            lambda book: head(book, "Visits", "Area in", "Unit"),
            truth=[],
            bad=[Bad("area_ha", ["Visits, row 2", "I1", "I2"], None, ["area"])],
        ),
        filled(
            "lon-heading",
            "the heading was changed to Longitude (degrees west), the minus left out",
            lon_heading,
            truth=[],
            bad=[Bad("lon", ["F1", "F2"], None, ["longitude"])],
        ),
        filled("price-cwt", "prices per hundredweight", price_cwt),
        filled("cost-heading", "the heading was changed to Treatment cost ($/acre)", cost_heading),
        filled(
            "cost-heading-against-unit",
            "the heading was changed to Treatment cost ($/ha), the unit chosen is the acre",
            lambda book: head(book, "Visits", "Treatment cost", "Treatment cost ($/ha)"),
            truth=[],
            bad=[Bad("treatment_cost", ["N1", "N2", "O2"], None, [])],
        ),
        filled("bud-totals", "one total a head in place of its bracts", totals, truth=bud_totals(visits(2))),
        filled("totals-too", "the bracts of each head and their total", lambda book: totals(book, keep=True)),
        filled(
            "total-differs",
            "the bracts of each head and their totals, of which one is not their sum",
            total_differs,
            bad_visit=0,
            cell=["K2"],
        ),
        filled(
            "total-of-one-head",
            "one head with its total alone, the others with their bracts",
            total_of_one,
            bad_visit=0,
            cell=["K2"],
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
        filled(
            "site-rows-deleted",
            "the rows of a site deleted",
            site_rows_deleted,
            truth_from=1,
            bad=[Bad("counts", ["Counts, rows"], ("F-101", "2026-07-20"), ["site"])],
        ),
        filled(
            "counts-tab-renamed",
            "the tab Counts renamed to Eggs",
            lambda book: setattr(book["Counts"], "title", "Eggs"),
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
    said=(),
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
    clear = [says(word) for word in said]
    return Case(f"C-{id}", story, lambda folder: None, steps, meant, list(bad), [], list(way), clear=clear)


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


def initials(book):
    page = book["Counts"]
    place = page.max_column + 1
    page.cell(1, place, "Initials")
    page.cell(2, place, "n. n.")


def head(book, tab, heading, words):
    cell_of(book, tab, heading, 1).value = words


def clear(book, tab, heading):
    for row in (2, 3):
        cell_of(book, tab, heading, row).value = None


def hidden_tab_and_instructions(book):
    book.remove(book["bractline"])
    book.remove(book["Instructions"])


def acres_heading_alone(book):
    acres_heading(book)
    page = book["Visits"]
    page.delete_cols(columns(page)["Area in"])


def lon_heading(book):
    lon_without_minus(book)
    head(book, "Visits", "Longitude", "Longitude (degrees west)")


def price_cwt(book):
    for row, visit in enumerate(visits(2), 2):
        cell_of(book, "Visits", "Market value", row).value = round(100 * visit["market_value"][0], 6)
        cell_of(book, "Visits", "Value per", row).value = "cwt"


def cost_heading(book):
    clear(book, "Visits", "Cost per")
    head(book, "Visits", "Treatment cost", "Treatment cost ($/acre)")


def totals(book, keep=False):
    page = book["Counts"]
    at = columns(page)
    for row in range(2, page.max_row + 1):
        bracts = [page.cell(row, at[f"Bract {bract}"]) for bract in range(1, 7)]
        if bracts[0].value is None:
            continue
        page.cell(row, at["Total"]).value = sum(cell.value for cell in bracts)
        for cell in bracts:
            cell.value = cell.value if keep else None


def total_differs(book):
    totals(book, keep=True)
    cell_of(book, "Counts", "Total", 2).value = 40


def total_of_one(book):
    cell_of(book, "Counts", "Total", 2).value = 0
    for bract in range(1, 7):
        cell_of(book, "Counts", f"Bract {bract}", 2).value = None


def site_rows_deleted(book):
    book["Counts"].delete_rows(7, 5)


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
