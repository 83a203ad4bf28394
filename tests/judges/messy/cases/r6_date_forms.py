"""R6: days in the forms in which people write them."""

import datetime

import features
from kit import sheet_case
from sheet import Sheet
from visits import changed, visits

DAYS = ["2026-07-20", "2026-07-31", "2026-08-03", "2026-08-04"]
ENGLISH = ["January", "February", "March", "April", "May", "June", "July", "August", "September"]
FRENCH = ["janvier", "février", "mars", "avril", "mai", "juin", "juillet", "août", "septembre"]
SPANISH = ["enero", "febrero", "marzo", "abril", "mayo", "junio", "julio", "agosto", "septiembre"]
GERMAN = ["Januar", "Februar", "März", "April", "Mai", "Juni", "Juli", "August", "September"]
ROMAN = ["I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX"]


def cases():
    return [
        days(
            "day-month-no-year",
            "3 Aug, without a year",
            lambda day: f"{day.day} {ENGLISH[day.month - 1][:3]}",
            features.day_without_year("%d %b"),
            way=["year", "values"],
        ),
        days(
            "month-day-no-year",
            "Aug 3, without a year",
            lambda day: f"{ENGLISH[day.month - 1][:3]} {day.day}",
            features.day_without_year("%b %d"),
            way=["year", "values"],
        ),
        days(
            "slashes-no-year",
            "8/3, without a year",
            lambda day: f"{day.month}/{day.day}",
            features.day_without_year("%m/%d"),
            way=["year", "values"],
        ),
        days(
            "french",
            "3 août 2026",
            lambda day: f"{day.day} {FRENCH[day.month - 1]} {day.year}",
            features.month_names("%d %B %Y", "fr"),
            way=["values", "month"],
        ),
        days(
            "french-short",
            "3 juil. 2026",
            lambda day: f"{day.day} {['juil.', 'août'][day.month - 7]} {day.year}",
            features.month_names("%d %b %Y", "fr"),
            way=["values", "month"],
        ),
        days(
            "spanish",
            "3 de agosto de 2026",
            lambda day: f"{day.day} de {SPANISH[day.month - 1]} de {day.year}",
            features.month_names("%d de %B de %Y", "es"),
            way=["values", "month"],
        ),
        days(
            "spanish-dashes",
            "3-ago-26",
            lambda day: f"{day.day}-{SPANISH[day.month - 1][:3]}-26",
            features.month_names("%d-%b-%y", "es"),
            way=["values", "month"],
        ),
        days(
            "german",
            "3. August 2026",
            lambda day: f"{day.day}. {GERMAN[day.month - 1]} {day.year}",
            'format = "%d. %B %Y"',
        ),
        days(
            "english-long",
            "August 3, 2026",
            lambda day: f"{ENGLISH[day.month - 1]} {day.day}, {day.year}",
            'format = "%B %d, %Y"',
        ),
        days(
            "english-weekday",
            "Monday, August 3, 2026",
            lambda day: day.strftime("%A, %B %d, %Y"),
            'format = "%A, %B %d, %Y"',
        ),
        days("weekday-short", "Mon 3 Aug 2026", lambda day: day.strftime("%a %d %b %Y"), 'format = "%a %d %b %Y"'),
        days(
            "ordinal",
            "August 3rd, 2026",
            lambda day: f"{ENGLISH[day.month - 1]} {day.day}{suffix(day.day)}, {day.year}",
            'format = "%B %d, %Y"',
            way=["values", "format"],
        ),
        days("two-digits", "8/3/26 under %y", lambda day: f"{day.month}/{day.day}/26", 'format = "%m/%d/%y"'),
        days(
            "two-digits-under-four",
            "8/3/26 under %Y",
            lambda day: f"{day.month}/{day.day}/26",
            'format = "%m/%d/%Y"',
            way=["%y"],
        ),
        days(
            "letters-as-format",
            "8/3/2026 under mm/dd/yyyy",
            lambda day: f"{day.month}/{day.day}/{day.year}",
            'format = "mm/dd/yyyy"',
            way=["%m/%d/%Y"],
        ),
        days(
            "letters-day-first",
            "3.8.2026 under dd.mm.yyyy",
            lambda day: f"{day.day}.{day.month}.{day.year}",
            'format = "dd.mm.yyyy"',
            way=["%d"],
        ),
        days("dash-month", "3-Aug-26", lambda day: day.strftime("%d-%b-%y"), 'format = "%d-%b-%y"'),
        days("upper-month", "03AUG2026", lambda day: day.strftime("%d%b%Y").upper(), 'format = "%d%b%Y"'),
        days("compact", "20260803", lambda day: day.strftime("%Y%m%d"), 'format = "%Y%m%d"'),
        days("dots-year-first", "2026.08.03", lambda day: day.strftime("%Y.%m.%d"), 'format = "%Y.%m.%d"'),
        days(
            "with-clock",
            "8/3/2026 9:15 AM",
            lambda day: day.strftime("%m/%d/%Y 9:15 AM"),
            'format = "%m/%d/%Y %I:%M %p"',
        ),
        days("iso-moment", "2026-08-03T14:05:00Z", lambda day: f"{day.isoformat()}T14:05:00Z", 'format = "default"'),
        days(
            "roman",
            "3.VIII.2026",
            lambda day: f"{day.day}.{ROMAN[day.month - 1]}.{day.year}",
            'format = "%d.%B.%Y"',
            way=["values", "month", "format"],
        ),
        days("day-of-year", "2026-215", lambda day: day.strftime("%Y-%j"), 'format = "%Y-%j"'),
        by_values(),
        cells_and_texts(),
        year_in_own_column(),
        parts_in_columns(),
    ]


def suffix(number):
    return {1: "st", 2: "nd", 3: "rd"}.get(number % 10 if number not in (11, 12, 13) else 0, "th")


def truth_days():
    return [changed(visit, observed_on=day) for visit, day in zip(visits(), DAYS)]


def days(id, story, form, how, way=()):
    truth = truth_days()
    sheet = Sheet(truth).all("date", lambda day: form(datetime.date.fromisoformat(day)))
    return sheet_case(f"R6-{id}", f"days as {story}", sheet, truth, how={"date": how}, way=way)


def by_values():
    truth = truth_days()
    sheet = Sheet(truth).all("date", lambda day: f"the {int(day[8:])}.")
    values = ", ".join(f'"the {int(day[8:])}." = "{day}"' for day in DAYS)
    return sheet_case(
        "R6-by-values",
        "odd texts, each given its day by values",
        sheet,
        truth,
        how={"date": f"values = {{ {values} }}"},
    )


def cells_and_texts():
    """Half of the column are date cells, half are texts that a person typed with an apostrophe."""
    truth = truth_days()
    sheet = Sheet(truth).all("date", datetime.date.fromisoformat)
    sheet.set(1, "date", "7/31/2026").set(3, "date", "8/4/2026")
    return sheet_case(
        "R6-cells-and-texts",
        "date cells and texts in one column",
        sheet,
        truth,
        name="sheet.xlsx",
        how={"date": 'format = "%m/%d/%Y"'},
    )


def year_in_own_column():
    truth = truth_days()
    sheet = Sheet(truth).all("date", lambda day: f"{int(day[5:7])}/{int(day[8:])}").add("Year", [2026] * 4, "scout")
    how = {"date": features.day_from_parts(["Date", "Year"], "%m/%d %Y")}
    return sheet_case(
        "R6-year-in-column",
        "8/3 in one column, 2026 in another",
        sheet,
        truth,
        how=how,
        way=["year", "values", "column"],
    )


def parts_in_columns():
    truth = truth_days()
    sheet = Sheet(truth).add("Month", [int(day[5:7]) for day in DAYS], "scout").add("Year", [2026] * 4, "scout")
    sheet.all("date", lambda day: int(day[8:])).rename("date", "Day")
    how = {"date": features.day_from_parts(["Day", "Month", "Year"], "%d %m %Y")}
    return sheet_case(
        "R6-parts-in-columns",
        "day, month and year in three columns",
        sheet,
        truth,
        how=how,
        way=["year", "values", "column"],
    )
