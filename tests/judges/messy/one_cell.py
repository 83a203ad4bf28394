"""Cases that bend one cell, one column or every number of the usual sheet."""

from kit import bad_cell, sheet_case
from sheet import Sheet
from visits import visits, without


def everywhere(id, story, change, **how):
    truth = visits()
    sheet = Sheet(truth)
    for row in sheet.rows:
        for name, value in row.items():
            if isinstance(value, (int, float)):
                row[name] = change(value)
    return sheet_case(f"S-{id}", story, sheet, truth, **how)


def column(id, story, name, change, **how):
    truth = visits()
    return sheet_case(f"S-{id}", story, Sheet(truth).all(name, change), truth, **how)


def bad_one(id, story, name, written, member, row=2, **how):
    truth = visits()
    sheet = Sheet(truth).set(row, name, written)
    return sheet_case(
        f"S-{id}", story, sheet, without(truth, row), [bad_cell(sheet, row, name, member, truth[row])], **how
    )
