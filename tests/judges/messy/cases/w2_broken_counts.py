"""W2: counts that a program turned into dates or that are no plain number, with and without bareNumber = false."""

import datetime

import features
from kit import bad_cell, expect, sheet_case
from sheet import Sheet
from visits import visits, without

BARE = "bareNumber = false"
CELL = "S1H1B2"


def cases():
    broken = [
        ("date-word", "3-Jan"),
        ("date-word-behind", "Jan-03"),
        ("exponent", "3e1"),
        ("brackets", "(3)"),
        ("range", "2-3"),
        ("out-of", "3 of 6"),
        ("slash", "3/6"),
        ("larvae", "3 larvae"),
        ("plus", "3+"),
        ("sum", "2+1"),
        ("times", "3x2"),
        ("clock", "3:00"),
        ("ordinal", "3rd"),
        ("question", "3?"),
        ("hatched", "3 hatched"),
        ("percent-text", "3%"),
        ("day-month", "3 Jan"),
    ]
    made = [text_cell(f"{name}-bare-false", written, BARE) for name, written in broken]
    made += [text_cell(name, written, "") for name, written in broken[:6]]
    return [*made, exponents(), eggs_word(), ignored_words(), real_date(), real_date_bare(), opened_by_a_spreadsheet()]


def text_cell(id, written, how):
    truth = visits()
    sheet = Sheet(truth).set(1, CELL, written)
    bad = [bad_cell(sheet, 1, CELL, "counts", truth[1])]
    story = f"a count is written {written!r}; the mapping says {how or 'nothing of it'}"
    clear = [not_to_be_stripped] if "Jan" in written else []
    return sheet_case(f"W2-{id}", story, sheet, without(truth, 1), bad, counts_how=how, clear=clear)


def not_to_be_stripped(store, run, messages):
    """Of a broken date no message may say that bareNumber = false would help: it would make a count of it."""
    return expect("bareNumber" not in messages, "a message advises bareNumber = false for a broken date")


def eggs_word():
    truth = visits()
    sheet = Sheet(truth).all(CELL, lambda count: f"{count} eggs")
    return sheet_case(
        "W2-eggs-word", "counts say '2 eggs', which bareNumber = false leaves out", sheet, truth, counts_how=BARE
    )


def exponents():
    """A spreadsheet with the format Scientific saves 3 as 3.00E+00; nothing else can be meant."""
    truth = visits()
    sheet = Sheet(truth).all(CELL, lambda count: f"{count}.00E+00")
    return sheet_case("W2-exponents-exact", "counts saved as 3.00E+00, a spreadsheet's format Scientific", sheet, truth)


def ignored_words():
    """Words that the office knows to mean nothing."""
    truth = visits()
    sheet = Sheet(truth).all(CELL, lambda count: f"{count} (est)")
    how = features.ignored_words(["est"])
    story = "counts say '2 (est)', and the mapping says that est means nothing"
    return sheet_case("W2-ignored-words", story, sheet, truth, counts_how=how)


def real_date(id="W2-real-date", how=""):
    truth = visits()
    sheet = Sheet(truth).set(1, CELL, datetime.date(2026, 1, 3))
    bad = [bad_cell(sheet, 1, CELL, "counts", truth[1])]
    story = f"a count is a real date cell of a workbook; the mapping says {how or 'nothing of it'}"
    return sheet_case(id, story, sheet, without(truth, 1), bad, name="sheet.xlsx", counts_how=how)


def real_date_bare():
    return real_date("W2-real-date-bare-false", BARE)


def opened_by_a_spreadsheet():
    """A count typed 1-2 that LibreOffice took for a date when it opened the text file."""
    truth = visits()
    sheet = Sheet(truth).set(1, CELL, "1/2/2026")
    bad = [bad_cell(sheet, 1, CELL, "counts", truth[1])]
    story = "a count is the text of a date, 1/2/2026; bareNumber = false"
    return sheet_case("W2-date-text", story, sheet, without(truth, 1), bad, counts_how=BARE)
