"""R5: the day of the hand-in, fixed in a mapping or named on the command line."""

from kit import sheet_case
from sheet import Sheet
from visits import changed, visits

CONSTANT = {"/submitted_at": '"2026-07-30T12:00:00Z"'}
WAY = ["submitted_at", "submitted-at"]


def later():
    days = ["2026-08-03", "2026-08-04", "2026-08-05", "2026-08-06"]
    return [changed(visit, observed_on=day) for visit, day in zip(visits(), days)]


def cases():
    return [
        one(
            "constant-next-week", "the mapping fixes the hand-in of last week, the sheet is of this week", [], CONSTANT
        ),
        one(
            "constant-and-flag",
            "the mapping fixes it, and --submitted-at says otherwise",
            ["--submitted-at", "2026-08-10T12:00:00Z"],
            CONSTANT,
        ),
        one("day-alone", "--submitted-at with a day alone", ["--submitted-at", "2026-08-10"], None),
        one("nothing-said", "neither mapping nor command says when it was handed in", [], None),
        one(
            "clock-without-zone",
            "--submitted-at with a clock and no zone",
            ["--submitted-at", "2026-08-10T12:00"],
            None,
        ),
        one("us-day", "--submitted-at 8/10/2026", ["--submitted-at", "8/10/2026"], None),
        column(
            "column-of-times", "a column of times of another zone", "2026-08-10T07:00:00-05:00", 'format = "default"'
        ),
        column(
            "column-of-days",
            "a column of days, and timeOfDay",
            "2026-08-10",
            'format = "%Y-%m-%d"\ntimeOfDay = "12:00"\nutcOffset = "+00:00"',
        ),
    ]


def one(id, story, flags, constant):
    truth = later()
    load = ["load", "sheet.csv", "--mapping", "sheet.toml", *flags]
    return sheet_case(f"R5-{id}", story, Sheet(truth), truth, steps=[load], constant=constant, way=WAY)


def column(id, story, written, how):
    truth = later()
    sheet = Sheet(truth).add("Sent", [written] * 4)
    more = f'[[field]]\nname = "Sent"\nto = "/submitted_at"\n{how}'
    return sheet_case(
        f"R5-{id}", story, sheet, truth, steps=[["load", "sheet.csv", "--mapping", "sheet.toml"]], more=more
    )
