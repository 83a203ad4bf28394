"""W7: what a cell's look, a heading or a tab says and a plain reading does not: percent, struck rows, names, units."""

import openpyxl
import openpyxl.styles

import mapping as mappings
import writers
from kit import bad_cell, sheet_case
from sheet import Sheet
from visits import changed, visits, without


def cases():
    return [
        percent_cells(),
        percent_cost(),
        struck_row(),
        struck_cell(),
        name_as_scout(),
        name_initial(),
        phone_as_scout(),
        mail_as_scout(),
        phone_as_farm(),
        other_tab_in_draft(),
        tab_ignored_by_star(),
        acres_under_ha(),
        round_hectares(),
        square_metres_under_ha(),
        hidden_column_count(),
        swapped_lon_lat(),
        positive_lon(),
    ]


def styled(change):
    """A writer with openpyxl that then changes the looks of the book."""
    return lambda path, grid: writers.by_openpyxl(path, grid, change)


def percent_cells():
    truth = visits()
    sheet = Sheet(truth).set(1, "S1H1B3", 1).set(1, "S1H1B4", 3)
    places = [sheet.cell(1, "S1H1B3"), sheet.cell(1, "S1H1B4")]

    def percent(book):
        for place in places:
            book.worksheets[0][place].number_format = "0%"

    bad = [bad_cell(sheet, 1, "S1H1B3", "counts", truth[1])]
    return sheet_case(
        "W7-percent-counts",
        "two counts are shown as 100% and 300%",
        sheet,
        without(truth, 1),
        bad,
        name="sheet.xlsx",
        write=styled(percent),
    )


def percent_cost():
    truth = visits()
    sheet = Sheet(truth)
    place = sheet.cell(2, "price")

    def percent(book):
        book.worksheets[0][place].number_format = "0.0%"

    bad = [bad_cell(sheet, 2, "price", "market_value", truth[2])]
    return sheet_case(
        "W7-percent-price",
        "a price is shown as 17.5%",
        sheet,
        without(truth, 2),
        bad,
        name="sheet.xlsx",
        write=styled(percent),
    )


def struck_row():
    truth = visits()
    sheet = Sheet(truth)

    def strike(book):
        for cell in book.worksheets[0][sheet.line(2)]:
            cell.font = openpyxl.styles.Font(strike=True)

    bad = [bad_cell(sheet, 2, "field", "visit_id", truth[2], words=["struck", "strike", "crossed"])]
    return sheet_case(
        "W7-struck-row",
        "a row is struck through: the visit did not count",
        sheet,
        without(truth, 2),
        bad,
        name="sheet.xlsx",
        write=styled(strike),
    )


def struck_cell():
    truth = visits()
    sheet = Sheet(truth).set(2, "S1H1B1", 7)
    place = sheet.cell(2, "S1H1B1")

    def strike(book):
        book.worksheets[0][place].font = openpyxl.styles.Font(strike=True)

    bad = [bad_cell(sheet, 2, "S1H1B1", "counts", truth[2], words=["struck"])]
    return sheet_case(
        "W7-struck-count",
        "one count is struck through",
        sheet,
        without(truth, 2),
        bad,
        name="sheet.xlsx",
        write=styled(strike),
    )


def a_scout(id, written, story):
    truth = visits()
    sheet = Sheet(truth).set(0, "scout", written)
    bad = [bad_cell(sheet, 0, "scout", "observer_id", truth[0], words=["pseudonym", "name"])]
    return sheet_case(f"W7-{id}", story, sheet, without(truth, 0), bad)


def name_as_scout():
    return a_scout("name-as-scout", "Jo Invented 605-555-0123", "a name and a telephone number as the scout's id")


def name_initial():
    return a_scout("plain-name", "Jane Invented", "a person's name as the scout's id")


def phone_as_scout():
    return a_scout("phone-as-scout", "(605) 555-0123", "a telephone number as the scout's id")


def mail_as_scout():
    return a_scout("mail-as-scout", "jo@farm.example", "an e-mail address as the scout's id")


def phone_as_farm():
    truth = visits()
    sheet = Sheet(truth).add("Farm", ["farm-1", "605-555-0123", "farm-3", "farm-4"])
    bad = [bad_cell(sheet, 1, "Farm", "farm_id", truth[1], words=["farm"])]
    more = "\n".join(mappings.field("Farm", "/field/farm_id"))
    return sheet_case(
        "W7-phone-as-farm", "a telephone number as the farm's id", sheet, without(truth, 1), bad, more=more
    )


def two_tabs(id, story, dialect, ignored):
    truth = visits()
    mine, other = Sheet(truth[:2]), Sheet(truth[2:])
    grids = {"Obs 11": mine.grid(), "Obs 12": other.grid()}
    write = lambda path, grid: writers.by_openpyxl(path, grids)

    def names_tab(store, run, messages):
        return (
            [] if ignored in messages else [f"two visits of the tab {ignored!r} were left out, and no message names it"]
        )

    return sheet_case(
        f"W7-{id}", story, mine, truth[:2], name="sheet.xlsx", write=write, dialect=dialect, checks=[names_tab]
    )


def other_tab_in_draft():
    return two_tabs(
        "tab-in-draft",
        "the draft listed the other scout's tab under ignoreSheets, and it was left there",
        'sheetName = "Obs 11"\nignoreSheets = ["Obs 12"]',
        "Obs 12",
    )


def tab_ignored_by_star():
    return two_tabs(
        "tab-star",
        'ignoreSheets = ["*"] leaves out a scout\'s tab',
        'sheetName = "Obs 11"\nignoreSheets = ["*"]',
        "Obs 12",
    )


def acres_under_ha():
    """Quarter sections of 160 and 320 under hectares: numbers that acres have."""
    truth = [changed(visit, acres=acres) for visit, acres in zip(visits(), [160, 320, 160, 640])]
    sheet = Sheet(truth).rename("area", "Area (ha)")
    bad = [bad_cell(sheet, row, "area", "area_ha", visit) for row, visit in enumerate(truth)]
    return sheet_case(
        "W7-acres-under-ha",
        "a column Area (ha) holds 160, 320, 160, 640, which are acres",
        sheet,
        [],
        bad,
        how={"area": 'unit = "ha"'},
    )


def round_hectares():
    """Round hectares below a quarter section's figure are what they say."""
    truth = [changed(visit, area_ha=area) for visit, area in zip(visits(), [40, 80, 120, 55])]
    sheet = Sheet(truth).rename("area", "Area (ha)")
    for row, visit in zip(sheet.rows, truth):
        row["area"] = visit["area_ha"]

    def no_doubt(store, run, messages):
        return [] if "area-like-acres" not in messages else ["round hectares are doubted"]

    story = "a column Area (ha) holds 40, 80, 120 and 55 hectares"
    return sheet_case(
        "W7-round-hectares", story, sheet, truth, how={"area": 'unit = "ha"'}, clear=[no_doubt]
    )


def square_metres_under_ha():
    truth = visits()
    sheet = Sheet(truth).rename("area", "Area").all("area", lambda acres: acres * 4047)
    bad = [bad_cell(sheet, row, "area", "area_ha", visit) for row, visit in enumerate(truth)]
    return sheet_case(
        "W7-metres-under-ha",
        "a column Area holds square meters, mapped as hectares",
        sheet,
        [],
        bad,
        how={"area": 'unit = "ha"'},
    )


def hidden_column_count():
    """A hidden column is read like any other; what is in it is meant."""
    truth = visits()
    sheet = Sheet(truth)

    def hide(book):
        book.worksheets[0].column_dimensions["N"].hidden = True

    return sheet_case(
        "W7-hidden-column", "a column of counts is hidden", sheet, truth, name="sheet.xlsx", write=styled(hide)
    )


def swapped_lon_lat():
    truth = visits()
    sheet = Sheet(truth)
    for row in sheet.rows:
        row["lon"], row["lat"] = row["lat"], row["lon"]
    bad = [bad_cell(sheet, row, "lon", "lon", visit, words=["lat", "county"]) for row, visit in enumerate(truth)]
    return sheet_case("W7-lon-lat-swapped", "longitude and latitude are in each other's column", sheet, [], bad)


def positive_lon():
    truth = visits()
    sheet = Sheet(truth).all("lon", lambda lon: -lon)
    bad = [bad_cell(sheet, row, "lon", "lon", visit, words=["county"]) for row, visit in enumerate(truth)]
    return sheet_case("W7-lon-without-minus", "longitudes west without their minus", sheet, [], bad)
