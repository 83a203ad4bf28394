"""S: text files of many programs, and headers."""

import mapping as mappings
import writers
from case import Bad
from kit import bad_cell, sheet_case
from sheet import Sheet
from visits import ACRE, changed, visits, without


def cases():
    return [*texts(), *headers()]


def texts():
    spanish = [
        changed(visit, remarks=note) for visit, note in zip(visits(), ["señal débil", "día gris", "año seco", "niño"])
    ]
    more = "\n".join(mappings.field("Remarks", "/remarks"))
    made = []
    for id, encoding, first in (
        ("utf-8-bom", "utf-8", "\ufeff"),
        ("utf-16", "utf-16", ""),
        ("utf-16-be", "utf-16-be", "\ufeff"),
        ("cp1252", "cp1252", ""),
        ("latin-1", "latin-1", ""),
    ):
        sheet = Sheet(spanish).add("Remarks", [visit["remarks"] for visit in spanish])
        write = lambda path, grid, encoding=encoding, first=first: writers.by_csv(
            path, grid, encoding=encoding, first=first
        )
        made.append(
            sheet_case(
                f"S-{id}",
                f"a text in {encoding}{' with a byte order mark' if first else ''}",
                sheet,
                spanish,
                write=write,
                more=more,
            )
        )
    truth = visits()
    for id, story, write in (
        ("newline-cr", "line ends of an old Mac", lambda path, grid: writers.by_csv(path, grid, newline="\r")),
        ("newlines-mixed", "line ends of three kinds in one file", mixed_newlines),
        ("tabs", "tabs between the columns", lambda path, grid: writers.by_csv(path, grid, "\t")),
        ("bars", "bars between the columns", lambda path, grid: writers.by_csv(path, grid, "|")),
        ("sep-line", "a first line sep=;", lambda path, grid: writers.by_csv(path, grid, ";", first="sep=;\r\n")),
        ("all-quoted", "every cell in quotation marks", all_quoted),
        (
            "spaces-around",
            "spaces around every cell",
            lambda path, grid: writers.by_csv(
                path, [[f" {'' if cell is None else cell}  " for cell in row] for row in grid]
            ),
        ),
        (
            "trailing-commas",
            "three empty columns behind",
            lambda path, grid: writers.by_csv(path, [[*row, None, None, None] for row in grid]),
        ),
        (
            "blank-rows",
            "blank rows between the rows",
            lambda path, grid: writers.by_csv(path, [row for each in grid for row in (each, [None] * len(each))]),
        ),
        (
            "no-last-newline",
            "no line end at the end",
            lambda path, grid: path.write_text(writers.text_of(grid).rstrip("\r\n"), "utf-8"),
        ),
        (
            "repeated-header",
            "the header once more in the middle, as two files put together",
            lambda path, grid: writers.by_csv(path, [*grid[:3], grid[0], *grid[3:]]),
        ),
        (
            "zero-width",
            "zero-width spaces in the ids' cells",
            lambda path, grid: writers.by_csv(path, [grid[0], *[[f"{row[0]}\u200b", *row[1:]] for row in grid[1:]]]),
        ),
    ):
        made.append(sheet_case(f"S-{id}", story, Sheet(truth), truth, write=write))
    made += [short_row(), torn_quote(), trailing_total()]
    return made


def mixed_newlines(path, grid):
    lines = writers.text_of(grid, newline="\n").split("\n")
    ends = ["\r\n", "\n", "\r"]
    path.write_bytes("".join(line + ends[place % 3] for place, line in enumerate(lines[:-1])).encode())


def all_quoted(path, grid):
    path.write_text(
        "".join(",".join(f'"{"" if cell is None else cell}"' for cell in row) + "\r\n" for row in grid), "utf-8"
    )


def short_row():
    """A row that ends early: its last counts are not there."""
    truth = visits()
    sheet = Sheet(truth)

    def write(path, grid):
        writers.by_csv(path, [row[:30] if number == 3 else row for number, row in enumerate(grid)])

    bad = [bad_cell(sheet, 2, "S2H2B1", "counts", truth[2], words=["S2H2B2", "S2H1B6"])]
    return sheet_case(
        "S-short-row", "a row that ends in the middle of its counts", sheet, without(truth, 2), bad, write=write
    )


def torn_quote():
    """A quotation mark that is never closed swallows the rows below it."""
    truth = visits()
    sheet = Sheet(truth).add("Remarks", ["", "", "", ""])
    more = "\n".join(mappings.field("Remarks", "/remarks"))

    def write(path, grid):
        lines = writers.text_of(grid).split("\r\n")
        lines[2] += '"hail on the north side'
        path.write_text("\r\n".join(lines), "utf-8")

    bad = [
        Bad("visit_id", ["row 3", "line 3", "AI3", "rows 3"], ("F-102", "2026-07-21"), ["quot", "Remarks", "remarks"])
    ]
    return sheet_case(
        "S-quote-never-closed", "a quotation mark that is never closed", sheet, [truth[0]], bad, write=write, more=more
    )


def trailing_total():
    """A row of totals that no rule of the mapping leaves out."""
    truth = visits()
    sheet = Sheet(truth)
    sums = [sum(row[name] for row in sheet.rows) for name in sheet.columns[11:]]
    sheet.below = [["Total", *[None] * 10, *sums]]
    bad = [Bad("visit_id", ["row 6", "line 6", "B6", "L6"], None, ["Total", "Date", "observed_on"])]
    return sheet_case("S-trailing-total", "a row of totals that the mapping does not skip", sheet, truth, bad)


def headers():
    return [
        heading(
            "header-spaces",
            "headers with more spaces and line breaks",
            lambda header: f"  {header.replace(' ', chr(10))} ",
        ),
        heading("header-case", "headers in capitals", str.upper),
        heading("header-no-break", "no-break spaces in headers", lambda header: header.replace(" ", "\u00a0")),
        doubled_header(),
        doubled_count(),
        header_missing(),
        unit_in_header_changed(),
        price_header_changed(),
        count_column_missing(),
        unmapped_column(),
    ]


def heading(id, story, change):
    truth = visits()
    written = Sheet(truth)
    text = mappings.mapping(written)
    for name in written.columns[:11]:
        written.rename(name, change(written.headers[name]))
    return sheet_case(f"S-{id}", story, written, truth, map_text=text, name="sheet.xlsx")


def doubled_header():
    truth = visits()
    sheet = Sheet(truth)
    text = mappings.mapping(sheet)
    sheet.add("Area 2", [visit["acres"] + 5 for visit in truth], "crop").rename("Area 2", "Area (ac)")
    bad = [Bad("area_ha", ["F", "G", "row 1", "header"], None, ["Area (ac)", "twice", "two"])]
    return sheet_case("S-header-twice", "two columns Area (ac) with other numbers", sheet, [], bad, map_text=text)


def doubled_count():
    truth = visits()
    sheet = Sheet(truth)
    text = mappings.mapping(sheet)
    sheet.rename("S1H1B2", "S1H1B1")
    bad = [Bad("counts", ["L", "M", "row 1", "header"], None, ["S1H1B1"])]
    return sheet_case("S-count-header-twice", "two columns S1H1B1, and none S1H1B2", sheet, [], bad, map_text=text)


def header_missing():
    truth = visits()
    sheet = Sheet(truth)
    text = mappings.mapping(sheet)
    sheet.rename("stage", "")
    bad = [Bad("crop_stage", ["header", "row 1", "H"], None, ["Stage"])]
    return sheet_case("S-header-blank", "the header of one column is blank", sheet, [], bad, map_text=text)


def changed_header(id, story, column, header, change, member):
    truth = visits()
    sheet = Sheet(truth)
    text = mappings.mapping(sheet)
    sheet.rename(column, header).all(column, change)
    bad = [Bad(member, ["header", "row 1", "column"], None, [header, "unit"])]
    return sheet_case(f"S-{id}", story, sheet, [], bad, map_text=text)


def unit_in_header_changed():
    return changed_header(
        "header-unit-changed",
        "this week the column is Area (ha)",
        "area",
        "Area (ha)",
        lambda acres: round(acres * ACRE, 2),
        "area_ha",
    )


def price_header_changed():
    return changed_header(
        "header-price-changed",
        "this week the column is Price ($/cwt)",
        "price",
        "Price ($/cwt)",
        lambda price: price * 100,
        "market_value",
    )


def count_column_missing():
    """A column of counts was deleted: a head has five bracts."""
    truth = visits()
    sheet = Sheet(truth).drop("S1H2B4")
    bad = [bad_cell(sheet, row, "S1H2B5", "counts", visit, words=["bract", "S1H2"]) for row, visit in enumerate(truth)]
    for each in bad:
        each.where += ["S1H2", "heads/1"]
    return sheet_case("S-count-column-deleted", "a column of counts was deleted", sheet, [], bad)


def unmapped_column():
    truth = visits()
    sheet = Sheet(truth)
    text = mappings.mapping(sheet)
    sheet.add("Aphids", [1, 0, 3, 0])
    bad = [Bad("file", ["AJ", "Aphids"], None, ["Aphids"])]
    return sheet_case("S-unmapped-column", "a column that the mapping does not mention", sheet, [], bad, map_text=text)
