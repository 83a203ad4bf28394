"""W4: counts that cannot be, or are strange, for a unit."""

from kit import bad_cell, sheet_case
from sheet import Sheet
from visits import visits, without

CELL = "S1H2B1"


def cases():
    strange = [
        ("250", 250, "250 eggs on one bract"),
        ("20000", 20000, "the plant population in the column of a bract"),
        ("999", 999, "999 as a mark for missing"),
        ("year", 2026, "the year in the column of a bract"),
        ("negative", -1, "a negative count"),
        ("minus-nine", -9, "-9 as a mark for missing"),
        ("fraction", 1.5, "one egg and a half"),
        ("huge", 2147483648, "a count past 32 bits"),
        ("text-999", "9999", "9999 as a mark for missing, in text"),
        ("decimal-comma", "1,5", "a decimal comma in a count"),
    ]
    return [*(one(*each) for each in strange), all_of_one_head(), telephone(), big_but_true()]


def one(id, written, story):
    truth = visits()
    sheet = Sheet(truth).set(2, CELL, written)
    bad = [bad_cell(sheet, 2, CELL, "counts", truth[2])]
    return sheet_case(f"W4-{id}", story, sheet, without(truth, 2), bad)


def all_of_one_head():
    truth = visits()
    sheet = Sheet(truth)
    for bract in range(1, 7):
        sheet.set(1, f"S2H1B{bract}", 180)
    bad = [bad_cell(sheet, 1, "S2H1B1", "counts", truth[1], words=["S2H1"])]
    return sheet_case("W4-head-of-180s", "a head with 180 eggs on each bract", sheet, without(truth, 1), bad)


def telephone():
    truth = visits()
    sheet = Sheet(truth).set(0, CELL, 6055550123)
    bad = [bad_cell(sheet, 0, CELL, "counts", truth[0])]
    return sheet_case("W4-telephone", "a telephone number in the column of a bract", sheet, without(truth, 0), bad)


def big_but_true():
    """Heavy flights give some tens on a bract: these must be read."""
    truth = visits()
    truth[2]["counts"][1][1][0] = 23
    truth[3]["counts"][2][0][4] = 17
    return sheet_case("W4-heavy-but-true", "17 and 23 eggs on a bract", Sheet(truth), truth)
