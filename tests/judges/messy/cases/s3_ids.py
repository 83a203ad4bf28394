"""S: ids of fields as spreadsheets and people bend them."""

import datetime

from kit import bad_cell, sheet_case
from sheet import Sheet
from visits import changed, visits, without


def cases():
    return [
        one_field("ids-case-one-field", "one field on two days, as F-101 and f-101", "f-101"),
        one_field("ids-space-one-field", "one field on two days, as F-101 and F 101", "F 101"),
        one_field("ids-hyphen-one-field", "one field on two days, as F-101 and F101", "F101"),
        field_ids(
            "ids-by-case",
            "field ids that differ by case alone: f-101 and F-101",
            ["F-101", "f-101", "F-103", "F-104"],
            {1},
        ),
        field_ids(
            "ids-by-letter",
            "field ids F-101 and F-1O1, with the letter O",
            ["F-101", "F-1O1", "F-103", "F-104"],
            {1},
        ),
        two_numbers(),
        field_ids("ids-by-zeros", "field ids 0101 and 101", ["0101", "101", "0103", "0104"], {1}),
        field_ids("ids-by-space", "field ids F 101 and F101", ["F 101", "F101", "F103", "F104"], {1}),
        field_ids(
            "ids-exponent",
            "a field id that a spreadsheet turned into 1.23E+11",
            ["123456789012", "1.23E+11", "123456789014", "123456789015"],
            {1},
        ),
        field_ids(
            "ids-as-date",
            "a field id that a spreadsheet turned into a date",
            ["12-A", "2026-03-04", "12-C", "12-D"],
            {1},
        ),
        field_ids("ids-long", "a field id of 300 characters", ["F-101", "F" * 300, "F-103", "F-104"], {1}),
        field_ids("ids-blank", "a blank field id", ["F-101", None, "F-103", "F-104"], {1}),
        field_ids("ids-question", "a field id ?", ["F-101", "?", "F-103", "F-104"], {1}),
        id_date_cell(),
        number_ids(),
        zeros_lost(),
        look_alike(),
    ]


def field_ids(id, story, written, bad_rows):
    truth = [changed(visit, field_id=name) for visit, name in zip(visits(), written)]
    sheet = Sheet(truth)
    bad = [bad_cell(sheet, row, "field", "field_id", truth[row], words=["key", "zeros"]) for row in bad_rows]
    return sheet_case(f"S-{id}", story, sheet, without(truth, *bad_rows), bad)


def two_numbers():
    """A section and a field: 1-12, 11-2 and 112 are three fields."""
    truth = [changed(visit, field_id=name) for visit, name in zip(visits(), ["1-12", "11-2", "112", "1-1"])]

    def no_doubt(store, run, messages):
        return [] if "look-alike" not in messages else ["ids of different fields are doubted"]

    return sheet_case("S-ids-two-numbers", "ids of two numbers", Sheet(truth), truth, clear=[no_doubt])


def one_field(id, story, written):
    """The second visit is of the first one's field, at the same point a week later, under another spelling."""
    truth = visits()
    truth[1] = changed(truth[1], field_id="F-101", lon=truth[0]["lon"], lat=truth[0]["lat"])
    sheet = Sheet(truth).set(1, "field", written)
    bad = [bad_cell(sheet, 1, "field", "field_id", truth[1], words=["twice"])]
    return sheet_case(f"S-{id}", story, sheet, without(truth, 1), bad)


def id_date_cell():
    truth = [changed(visit, field_id=name) for visit, name in zip(visits(), ["3-2", "3-4", "3-40", "3-41"])]
    sheet = Sheet(truth).set(1, "field", datetime.date(2026, 3, 4))
    bad = [bad_cell(sheet, 1, "field", "field_id", truth[1])]
    return sheet_case(
        "S-ids-date-cell", "a field id 3-4 that became a date cell", sheet, without(truth, 1), bad, name="sheet.xlsx"
    )


def number_ids():
    truth = [changed(visit, field_id=str(101 + place)) for place, visit in enumerate(visits())]
    sheet = Sheet(truth).all("field", float)
    return sheet_case("S-ids-as-numbers", "field ids as number cells", sheet, truth, name="sheet.xlsx")


def zeros_lost():
    truth = [changed(visit, field_id=f"0010{place}") for place, visit in enumerate(visits(), 1)]
    sheet = Sheet(truth).set(1, "field", 102)
    bad = [bad_cell(sheet, 1, "field", "field_id", truth[1], words=["zeros"])]
    return sheet_case(
        "S-ids-zeros-lost",
        "one id lost its zeros, the others have theirs",
        sheet,
        without(truth, 1),
        bad,
        name="sheet.xlsx",
    )


def look_alike():
    """One field of two visits, whose id has a Greek capital once."""
    truth = [changed(visit, field_id=f"A-{place // 2}") for place, visit in enumerate(visits())]
    for place in (1, 3):
        truth[place] = changed(truth[place], lon=truth[place - 1]["lon"], lat=truth[place - 1]["lat"])
    sheet = Sheet(truth).set(1, "field", "\u0391-0")
    bad = [bad_cell(sheet, 1, "field", "field_id", truth[1], words=["twice"])]
    return sheet_case("S-ids-look-alike", "a Greek capital Alpha in one id", sheet, without(truth, 1), bad)
