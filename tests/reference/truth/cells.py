"""Distortions of cells: what people and spreadsheets put where one value should stand; by number in the list of 21.

Each function bends a `BentSheet` and the mapping with it, and says what must be held or refused for it: where the
mapping cannot settle a distortion, the message must name it.
"""

import datetime
from fractions import Fraction

from bent_sheet import distortion

# --- 7, 8: units and fractions ----------------------------------------------------------------------


@distortion(7)
def units_in_header(sheet):
    """Cents, thousands and dollars, as the headers say."""
    sheet.headers.update(cost="Cost ($/ac)", price="Price (cents/lb)", plants="Stand (1000/ac)")
    sheet.fields["cost"]["unit"] = "$/acre"
    sheet.fields["price"]["unit"] = "\u00a2/lb"
    sheet.fields["plants"]["unit"] = "10*3/acre"
    sheet.change("price", lambda price: round(price * 100, 6))
    sheet.change("plants", lambda plants: plants / 1000)
    for name in ("treatment_cost", "market_value"):
        sheet.constant[f"/economics/{name}/currency"] = "USD"


@distortion(7)
def units_in_cells(sheet):
    """62.5 ac in one row, 25.3 ha in the next."""
    hectares = {visit["visit_id"]: visit["field"]["area_ha"] for visit in sheet.visits}
    for place, row in enumerate(sheet.rows):
        row["area"] = f"{hectares[row['_visit']]} ha" if place % 3 == 1 else f"{row['area']} ac"
    sheet.headers["area"] = "Area"
    del sheet.fields["area"]["unit"]
    sheet.fields["area"]["unitFrom"] = "cell"


@distortion(7)
def units_nowhere(sheet, places):
    """A column whose cells name their units, but for some."""
    for place, row in enumerate(sheet.rows):
        if place not in places:
            row["area"] = f"{row['area']} ac"
    del sheet.fields["area"]["unit"]
    sheet.fields["area"]["unitFrom"] = "cell"
    sheet.hold(places, "unit-missing", "acre")


@distortion(7)
def units_that_differ(sheet, places):
    """Hectares, said in the cell, in a column of acres."""
    for place in places:
        sheet.rows[place]["area"] = "25.3 ha"
    sheet.hold(places, "unit-in-cell", "unitFrom")


def in_words(area):
    whole, share = divmod(Fraction(area), 1)
    sign = {Fraction(1, 2): ("1/2", "\u00bd"), Fraction(1, 4): ("1/4", "\u00bc"), Fraction(3, 4): ("3/4", "\u00be")}
    if not share:
        return str(whole)
    text, vulgar = sign[share]
    return vulgar if not whole else f"{whole}{vulgar}" if whole % 2 else f"{whole} {text}"


@distortion(8)
def fractions(sheet, explained=True):
    """62 1/2, 7½ and ½ acres."""
    broken = [place for place, row in enumerate(sheet.rows) if row["area"] % 1]
    sheet.change("area", in_words)
    sheet.fields["area"]["fractions"] = explained
    if not explained:
        sheet.hold(broken, "number-is-a-fraction", "fractions = true")


@distortion(8)
def fraction_as_date(sheet, places):
    """1/2 acre, which a spreadsheet took for a day."""
    for place in places:
        sheet.rows[place]["area"] = datetime.date(2026, 1, 2)
    sheet.hold(places, "date-in-number", "1/2", "into dates")


@distortion(8)
def fraction_for_a_spreadsheet(sheet, places):
    """1/2 acre as text, for a spreadsheet to take for a day when it opens the file."""
    for place in places:
        sheet.rows[place]["area"] = "1/2"
    sheet.hold(places, "date-in-number", "1/2", "into dates")


# --- 9, 10: no number, and no exact one --------------------------------------------------------------


@distortion(9)
def marks_for_nothing(sheet):
    """A dash is 0; NS is a head that nobody looked at, n/a a remark that nobody made."""
    for key in sheet.counts():
        sheet.change(key, lambda count: count or "-")
    rows = []
    for row in sheet.rows:
        rows.append(row)
        if row["head"] == 2:
            rows.append({**row, "head": 3, **dict.fromkeys(sheet.counts(), "NS")})
    sheet.rows = rows
    sheet.change("remarks", lambda remarks: remarks or "n/a")
    sheet.schema["missingValues"] = ["NS", "n/a"]
    sheet.fields["counts"]["values"] = {"-": 0}
    sheet.plan["blankUnits"] = "notExamined"


@distortion(9)
def marks_unexplained(sheet):
    said = [
        ("-", ["number-is-a-mark", "missingValues"]),
        ("none", ["number-in-words", "missingValues"]),
        (None, ["cell-blank", "default = 0"]),
        ("n/a", ["number-in-words", "values"]),
    ]
    for place, (mark, words) in enumerate(said):
        sheet.rows[place]["S1H2B4"] = mark
        sheet.hold([place], *words)


@distortion(10)
def censored(sheet, bare=True):
    """Bounds and ranges; leaving out what stands beside the number would change it."""
    said = {"<5": "bound", ">50": "bound", "10+": "bound", "5-10": "range"}
    for place, (count, word) in enumerate(said.items()):
        sheet.rows[place]["S2H1B3"] = count
        sheet.hold([place], {"bound": "number-not-exact", "range": "number-is-a-range"}[word], word, count)
    sheet.fields["counts"]["bareNumber"] = bare


# --- 11, 12, 13: what cannot be seen -----------------------------------------------------------------


@distortion(11)
def colors_and_comments(sheet):
    """Red for what is over the threshold, and comments: the values say the same without them."""
    for place, row in enumerate(sheet.rows):
        if place % 2:
            sheet.looks.append(("fill", sheet.header_row() + place, len(sheet.columns) - 1, "FF0000"))
            sheet.looks.append(("comment", sheet.header_row() + place, 0, "over!"))


@distortion(11)
def colors_alone(sheet, places):
    """Counts that a color alone tells."""
    for place in places:
        sheet.rows[place]["S1H1B2"] = None
        column = sheet.columns.index("S1H1B2")
        sheet.looks.append(("fill", sheet.header_row() + place, column, "00B050"))
        sheet.looks.append(("comment", sheet.header_row() + place, column, "green: 4 eggs"))
    sheet.hold(places, "cell-blank", "colors and comments")


@distortion(12)
def numbers_as_text(sheet, marks=("{} ", "\u00a0{}", " {}\u202f", "{}")):
    """Spaces that nobody sees."""
    for key in ["lon", "lat", "cost", *sheet.counts()]:
        for place, row in enumerate(sheet.rows):
            row[key] = marks[place % len(marks)].format(row[key])
    sheet.change("scout", lambda scout: f"\u00a0{scout} ")


@distortion(12)
def apostrophes(sheet):
    """A leading apostrophe, as some programs write it out."""
    for key in ["plants", *sheet.counts()]:
        sheet.change(key, "'{}".format)


@distortion(13)
def zeros_lost(sheet):
    """Ids as numbers, without their leading zeros; the mapping says how many digits they have."""
    for key, digits in [("field", 5), ("county", 5), ("farm", 12)]:
        sheet.change(key, int)
        sheet.fields[key]["zeroPad"] = digits


@distortion(13)
def county_zeros_lost(sheet):
    """The same where the mapping says nothing."""
    sheet.change("county", int)
    sheet.hold(range(len(sheet.visits)), "id-lost-zeros", "zeroPad = 5")


@distortion(13)
def some_zeros_lost(sheet, places):
    """Ids as text, some of which became numbers when they were typed in."""
    for place in places:
        sheet.rows[place]["field"] = int(sheet.rows[place]["field"])
    sheet.hold(places, "id-lost-zeros", "zeroPad = 5")


@distortion(13)
def digits_lost(sheet, places):
    """9.12E+11: what a spreadsheet shows of a long id, and writes into a text file."""
    for place in places:
        sheet.rows[place]["farm"] = f"{int(sheet.rows[place]['farm']):.2E}"
    sheet.hold(places, "id-lost-digits", "E+", "all digits")


# --- 14: days and times --------------------------------------------------------------------------------


@distortion(14)
def days_as_text(sheet, *formats):
    """Days by one or several formats, which the mapping states."""
    for row in sheet.rows:
        row["day"] = row["day"].strftime(formats[row["day"].day % len(formats)])
    sheet.fields["day"]["format"] = formats[0] if len(formats) == 1 else list(formats)


@distortion(14)
def days_ambiguous(sheet, with_century):
    """6/7/2026 or 6/7/26: June or July, where the mapping says nothing."""
    for place, row in enumerate(sheet.rows):
        day = row["day"]
        year = day.year if with_century else day.year % 100
        row["day"] = f"{day.month}/{day.day}/{year}"
        two_readings = day.day <= 12 and day.day != day.month
        code = "date-ambiguous" if two_readings else "date-unreadable"
        sheet.hold([place], code, day.isoformat(), "format", "%Y" if with_century else "%y")


@distortion(14)
def days_unsaid(sheet):
    """Weeks, several days, a day without a year."""
    said = [
        ("week 28", "a week is not a day"),
        ("W28", "a week is not a day"),
        ("2026-W28", "a week is not a day"),
        ("7/6-7/10", "several days"),
        ("July 6 - 10, 2026", "several days"),
        ("7/6", "no year"),
    ]
    for place, (day, words) in enumerate(said):
        sheet.rows[place]["day"] = day
        sheet.hold([place], "date-unreadable", words, day)


@distortion(14)
def time_of_submission(sheet, explained):
    """7:00 by the clock on the wall: 12:00 UTC in summer."""
    del sheet.constant["/submitted_at"]
    sheet.add("sent", "Sent", {"to": "/submitted_at", "format": "%m/%d/%Y %H:%M"})
    for row in sheet.rows:
        row["sent"] = "08/10/2026 07:00"
    if explained:
        sheet.fields["sent"]["utcOffset"] = "-05:00"
    else:
        sheet.hold(range(len(sheet.visits)), "time-zone-missing", "utcOffset")


# --- 15, 16: what is hidden, and what is computed -------------------------------------------------------


@distortion(15)
def rows_hidden_by_a_filter(sheet):
    """Hidden rows were sent too."""
    sheet.looks.append(("filter", sheet.header_row() - 1))
    for place in range(1, len(sheet.rows), 3):
        sheet.looks.append(("hide_row", sheet.header_row() + place))
    sheet.looks.append(("hide_column", sheet.columns.index("scout")))


@distortion(15)
def hidden_column(sheet):
    sheet.add("hidden", "Old count", None)
    for row in sheet.rows:
        row["hidden"] = 7
    sheet.looks.append(("hide_column", sheet.columns.index("hidden")))
    sheet.refused = ["Old count", "is hidden, and was sent too"]


@distortion(15)
def hidden_sheet(sheet):
    sheet.sheets = {sheet.name: sheet.grid(), "Lists": [["Scouts"], ["obs-9001"]]}
    sheet.looks.append(("hide_sheet", "Lists"))
    sheet.refused = ['"Lists"', "is hidden, and was sent too"]


@distortion(16)
def formulas(sheet, calculated=True):
    """Areas as halves and doubles of something, days as sums."""
    for row in sheet.rows:
        row["area"] = f"={row['area'] * 2}/2"
        day = row["day"]
        row["day"] = f"=DATE({day.year},{day.month},{day.day})"
    if calculated:
        for place in range(len(sheet.rows)):
            sheet.looks.append(("format", sheet.header_row() + place, sheet.columns.index("day"), "yyyy-mm-dd"))
    else:
        sheet.hold(range(len(sheet.visits)), "cell-broken", "formula", "open and save the workbook")


@distortion(16)
def formulas_broken(sheet, errors):
    """Formulas that point at nothing."""
    for place, error in enumerate(errors):
        column = sheet.columns.index("S1H1B1")
        sheet.looks.append(("error", sheet.header_row() + place, column, error))
        sheet.hold([place], "cell-broken", error, "correct the formula")


# --- 19: where it is ------------------------------------------------------------------------------------------


@distortion(19)
def point_in_one_cell(sheet, swapped=()):
    """44.75, -99.5"""
    for place, row in enumerate(sheet.rows):
        pair = (row["lat"], row["lon"])
        row["lat"] = "{}, {}".format(*(pair[::-1] if place in swapped else pair))
    lon = sheet.drop("lon")
    sheet.headers["lat"] = "Point"
    sheet.fields["lat"] |= {"part": "^(?<value>[^,]+),"}
    sheet.fields["lon"] = {**lon, "name": "Point", "part": r",\s*(?<value>[^,]+)$"}
    sheet.hold(swapped, "swapped")


@distortion(19)
def degrees_and_minutes(sheet, places):
    for place in places:
        for key, letters in [("lat", "SN"), ("lon", "WE")]:
            angle = sheet.rows[place][key]
            degrees, minutes = divmod(abs(angle) * 60, 60)
            sheet.rows[place][key] = f"{int(degrees)}\u00b0 {minutes:.3f}' {letters[angle > 0]}"
    sheet.hold(places, "angle-not-decimal", "decimal degrees")


@distortion(19)
def point_swapped(sheet, places):
    for place in places:
        row = sheet.rows[place]
        row["lat"], row["lon"] = row["lon"], row["lat"]
    sheet.hold(places, "swapped")


@distortion(19)
def sign_lost(sheet, places):
    for place in places:
        sheet.rows[place]["lon"] = -sheet.rows[place]["lon"]
    sheet.hold(places, "outside-region", "a sign lost")
