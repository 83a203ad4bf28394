"""W3: days long before the hand-in, of another season, or in another order of day and month than the other rows."""

import datetime

from kit import bad_cell, sheet_case
from sheet import Sheet
from visits import changed, visits, without

MONTH_FIRST = {"date": 'format = "%m/%d/%Y"'}
DAY_FIRST = {"date": 'format = "%d/%m/%Y"'}


def us(day):
    year, month, number = day.split("-")
    return f"{month}/{number}/{year}"


def european(day):
    year, month, number = day.split("-")
    return f"{number}/{month}/{year}"


def cases():
    return [
        one_day("day-first-row", "06/08/2026", "one row is day first (6 August) among month-first rows"),
        one_day("day-first-early", "05/08/2026", "one row is day first (5 August) among month-first rows"),
        one_day("last-season", "7/27/2025", "one row has last year's date"),
        one_day("ten-years", "7/27/2016", "one row has the year 2016"),
        one_day("winter", "1/27/2026", "one row has January for July"),
        one_day("a-month-early", "5/27/2026", "one row has May for July, 75 days before the hand-in"),
        one_day("future", "7/27/2027", "one row has next year's date"),
        one_day("century", "7/27/1926", "one row has the year 1926"),
        one_day("no-such-day", "2/30/2026", "one row has a day that no calendar has"),
        one_day("other-order", "27/07/2026", "one row is day first beyond doubt"),
        last_season_cells(),
        all_last_season(),
        month_first_under_day_first(),
        order_is_consistent(),
        late_but_true(),
        season_in_iso(),
        other_order_cell(),
        three_weeks_of_one_order(),
    ]


def other_order_cell():
    """A program with the order of another country took 06/08 (6 August) for 8 June, and wrote a date cell."""
    truth = [
        changed(visit, observed_on=day)
        for visit, day in zip(visits(), ["2026-07-20", "2026-07-21", "2026-08-06", "2026-07-28"])
    ]
    sheet = Sheet(truth).all("date", datetime.date.fromisoformat)
    sheet.set(2, "date", datetime.date(2026, 6, 8))
    bad = [bad_cell(sheet, 2, "date", "observed_on", truth[2])]
    return sheet_case(
        "W3-other-order-cell",
        "a date cell has day and month in the other order",
        sheet,
        without(truth, 2),
        bad,
        name="sheet.xlsx",
    )


def three_weeks_of_one_order():
    """Days of three weeks, some of which are days in both orders: all true, none doubted."""
    truth = [
        changed(visit, observed_on=day)
        for visit, day in zip(visits(), ["2026-07-08", "2026-07-15", "2026-07-22", "2026-07-29"])
    ]
    sheet = Sheet(truth).all("date", us)

    def no_doubt(store, run, messages):
        return [] if "day-month-order" not in messages else ["a true date is doubted"]

    story = "days of three weeks, month first throughout"
    return sheet_case("W3-three-weeks", story, sheet, truth, how=MONTH_FIRST, clear=[no_doubt])


def one_day(id, written, story):
    truth = visits()
    sheet = Sheet(truth).all("date", us).set(2, "date", written)
    bad = [bad_cell(sheet, 2, "date", "observed_on", truth[2])]
    return sheet_case(f"W3-{id}", story, sheet, without(truth, 2), bad, how=MONTH_FIRST)


def last_season_cells():
    truth = visits()
    sheet = Sheet(truth).all("date", datetime.date.fromisoformat).set(3, "date", datetime.date(2025, 7, 27))
    bad = [bad_cell(sheet, 3, "date", "observed_on", truth[3])]
    story = "a date cell of a workbook has last year"
    return sheet_case("W3-last-season-cell", story, sheet, without(truth, 3), bad, name="sheet.xlsx")


def all_last_season():
    truth = visits()
    sheet = Sheet(truth).all("date", lambda day: day.replace("2026", "2025"))
    bad = [bad_cell(sheet, row, "date", "observed_on", visit) for row, visit in enumerate(truth)]
    return sheet_case("W3-all-last-season", "every row has last year's date: a copied sheet", sheet, [], bad)


def month_first_under_day_first():
    """A US sheet whose mapping was written for a European one: 08/06 is read as 8 June."""
    truth = [
        changed(visit, observed_on=day)
        for visit, day in zip(visits(), ["2026-08-03", "2026-08-04", "2026-08-05", "2026-08-06"])
    ]
    sheet = Sheet(truth).all("date", us)
    bad = [bad_cell(sheet, row, "date", "observed_on", visit) for row, visit in enumerate(truth)]
    return sheet_case(
        "W3-order-mapped-wrong",
        "all rows are month first, the mapping says day first: March to June",
        sheet,
        [],
        bad,
        how=DAY_FIRST,
    )


def order_is_consistent():
    truth = [
        changed(visit, observed_on=day)
        for visit, day in zip(visits(), ["2026-07-20", "2026-07-31", "2026-08-05", "2026-08-07"])
    ]
    sheet = Sheet(truth).all("date", european)
    return sheet_case("W3-day-first-true", "day first throughout, with 05/08 and 07/08", sheet, truth, how=DAY_FIRST)


def late_but_true():
    truth = [
        changed(visit, observed_on=day)
        for visit, day in zip(visits(), ["2026-07-10", "2026-07-13", "2026-07-15", "2026-07-28"])
    ]
    return sheet_case(
        "W3-four-weeks-late", "a sheet with visits of a month before the hand-in, all true", Sheet(truth), truth
    )


def season_in_iso():
    truth = visits()
    sheet = Sheet(truth).set(0, "date", "2025-07-20")
    bad = [bad_cell(sheet, 0, "date", "observed_on", truth[0])]
    return sheet_case("W3-last-season-iso", "one ISO date has last year", sheet, without(truth, 0), bad)
