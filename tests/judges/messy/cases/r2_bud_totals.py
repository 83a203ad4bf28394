"""R2: one number a bud, the six bracts together."""

import features
from kit import sheet_case
from sheet import Sheet
from visits import bud_totals, visits

WAY = ["total", "together"]


def cases():
    return [
        by_layout("row-a-bud", "one row a bud with a column Eggs", "bud", "head"),
        by_layout("row-a-visit", "one row a visit with a column a bud, S1H1", "wide_bud", "visit"),
        by_layout("row-a-site", "one row a site with columns Bud 1, Bud 2", "site_bud", "site"),
        by_layout("workbook", "one row a bud, as a workbook", "bud", "head", name="sheet.xlsx"),
        by_layout("open-document", "one row a site, as an open document", "site_bud", "site", name="sheet.ods"),
        total_and_bracts(),
        total_that_differs(),
        as_bracts(),
    ]


def fields(layout):
    total = features.bud_totals()
    return {
        "bud": [("name", "Site", "/sites/{site}/site"), ("name", "Head", "{head}"), ("name", "Eggs", total)],
        "wide_bud": [("namePattern", "^S(?<site>[0-9]+)H(?<head>[0-9]+)$", total)],
        "site_bud": [("name", "Site", "/sites/{site}/site"), ("namePattern", "^Bud (?<head>[0-9]+)$", total)],
    }[layout]


def by_layout(id, story, layout, row_is, **how):
    truth = bud_totals(visits())
    sheet = Sheet(visits(), layout)
    return sheet_case(
        f"R2-{id}",
        story,
        sheet,
        truth,
        way=WAY,
        layout=row_is if row_is != "visit" else "wide",
        counts=fields(layout),
        **how,
    )


def total_and_bracts():
    """Six bracts and their sum: the sum is a check, and ignored by name."""
    truth = visits()
    sheet = Sheet(truth, "head")
    sheet.add("Sum", [sum(row[f"B{bract}"] for bract in range(1, 7)) for row in sheet.rows])
    return sheet_case(
        "R2-sum-ignored",
        "six bracts a row and their sum, which the mapping ignores",
        sheet,
        truth,
        top='ignore = ["Sum"]',
    )


def total_that_differs():
    """The sum of one row is not that of its bracts: ignored by the mapping, so the bracts count."""
    truth = visits()
    sheet = Sheet(truth, "head")
    sheet.add("Sum", [sum(row[f"B{bract}"] for bract in range(1, 7)) for row in sheet.rows]).set(3, "Sum", 40)
    return sheet_case(
        "R2-sum-differs",
        "a Sum that differs from its bracts, and is ignored by the mapping",
        sheet,
        truth,
        top='ignore = ["Sum"]',
    )


def as_bracts():
    """Totals mapped as if they were bracts: one of six is there."""
    from kit import bad_cell

    sheet = Sheet(visits(), "bud")
    counts = [
        ("name", "Site", "/sites/{site}/site"),
        ("name", "Head", "{head}"),
        ("name", "Eggs", "/sites/{site}/heads/{head}/1"),
    ]
    bad = [bad_cell(sheet, row * 4, "Eggs", "counts", visit, words=["total"]) for row, visit in enumerate(visits())]
    return sheet_case(
        "R2-mapped-as-bract",
        "totals of buds mapped as the first bract",
        sheet,
        [],
        bad,
        layout="head",
        counts=counts,
        way=WAY,
    )
