"""S: what the cells of a workbook are, and cells in the wrong place."""

import openpyxl

import mapping as mappings
import writers
from case import Bad
from kit import bad_cell, sheet_case
from one_cell import bad_one
from sheet import Sheet
from visits import changed, visits, without


def cases():
    return [*cells_of_a_workbook(), *shifted()]


def cells_of_a_workbook():
    return [
        formulas_without_values(),
        formula_ids(),
        merged_down(),
        hidden_rows(),
        filtered_rows(),
        error_cell(),
        boolean_count(),
        rich_text(),
        sheet_at_b3(),
        comment_says(),
        very_hidden_tab(),
        color_means_none(),
    ]


def book_case(id, story, sheet, truth, style, bad=(), **how):
    return sheet_case(
        f"S-{id}",
        story,
        sheet,
        truth,
        bad,
        name="sheet.xlsx",
        write=lambda path, grid: writers.by_openpyxl(path, grid, style),
        **how,
    )


def formulas_without_values():
    """openpyxl writes formulas and no values, as programs do that do not compute."""
    truth = visits()
    sheet = Sheet(truth).set(1, "area", "=500/2")
    bad = [bad_cell(sheet, 1, "area", "area_ha", truth[1])]
    return sheet_case(
        "S-formula-without-value",
        "a formula whose value was never computed",
        sheet,
        without(truth, 1),
        bad,
        name="sheet.xlsx",
    )


def formula_ids():
    """Formulas that LibreOffice has computed."""
    truth = visits()
    sheet = Sheet(truth)
    for row, visit in enumerate(truth):
        sheet.set(row, "field", f'="F-"&{101 + row}').set(row, "area", f"={visit['acres']}*1")

    def write(path, grid):
        source = path.with_name("source.ods")
        plain = path.with_name("plain.xlsx")
        writers.by_openpyxl(plain, grid)
        writers.by_libreoffice(plain, source.with_suffix(".xls"))
        writers.by_libreoffice(source.with_suffix(".xls"), path)
        plain.unlink(), source.with_suffix(".xls").unlink()

    return sheet_case(
        "S-formulas-computed",
        "ids and areas are formulas with their values",
        sheet,
        truth,
        name="sheet.xlsx",
        write=write,
    )


def merged_down():
    """The day is one merged cell for two visits of one day."""
    truth = visits()
    truth[1] = changed(truth[1], observed_on=truth[0]["observed_on"])
    sheet = Sheet(truth).set(1, "date", None)

    def merge(book):
        book.worksheets[0].merge_cells("B2:B3")

    return book_case(
        "merged-down",
        "one merged cell holds the day of two rows, and fillDown says so",
        sheet,
        truth,
        merge,
        how={"date": 'format = "default"\nfillDown = true'},
    )


def hidden_rows():
    truth = visits()

    def hide(book):
        book.worksheets[0].row_dimensions[4].hidden = True

    return book_case("hidden-row", "a hidden row is read like any other", Sheet(truth), truth, hide)


def filtered_rows():
    truth = visits()

    def hide(book):
        page = book.worksheets[0]
        page.auto_filter.ref = page.dimensions
        for row in (3, 5):
            page.row_dimensions[row].hidden = True

    return book_case("filtered-rows", "rows that a filter hides are read like any other", Sheet(truth), truth, hide)


def error_cell():
    truth = visits()
    sheet = Sheet(truth)

    def break_cell(book):
        cell = book.worksheets[0][sheet.cell(2, "S1H1B2")]
        cell.value, cell.data_type = "#REF!", "e"

    return book_case(
        "error-cell",
        "#REF! in a count",
        sheet,
        without(truth, 2),
        break_cell,
        [bad_cell(sheet, 2, "S1H1B2", "counts", truth[2])],
    )


def boolean_count():
    truth = visits()
    sheet = Sheet(truth).set(2, "S1H1B2", True)
    return sheet_case(
        "S-boolean-count",
        "TRUE in a count",
        sheet,
        without(truth, 2),
        [bad_cell(sheet, 2, "S1H1B2", "counts", truth[2])],
        name="sheet.xlsx",
    )


def rich_text():
    truth = visits()
    sheet = Sheet(truth)

    def bold(book):
        from openpyxl.cell.rich_text import CellRichText, TextBlock
        from openpyxl.cell.text import InlineFont

        page = book.worksheets[0]
        page["A3"] = CellRichText(TextBlock(InlineFont(b=True), "F-1"), "02")

    return book_case("rich-text", "an id half in bold letters", sheet, truth, bold)


def sheet_at_b3():
    truth = visits()
    sheet = Sheet(truth)
    sheet.above = [[], []]
    text = mappings.mapping(sheet)
    return sheet_case(
        "S-begins-at-b3",
        "the table begins in column B, row 3",
        sheet,
        truth,
        map_text=text,
        name="sheet.xlsx",
        write=lambda path, grid: writers.by_openpyxl(path, [[None, *row] for row in grid]),
    )


def comment_says():
    truth = visits()

    def comment(book):
        book.worksheets[0]["L3"].comment = openpyxl.comments.Comment("invented: counted twice", "scout")

    return book_case("comment", "a comment at a count is not read, as the manual says", Sheet(truth), truth, comment)


def very_hidden_tab():
    """A tab with data that no menu shows."""
    truth = visits()

    def hide(book):
        page = book.create_sheet("Old")
        for row in Sheet(visits(6)[4:]).grid():
            page.append(row)
        page.sheet_state = "veryHidden"

    return book_case(
        "hidden-tab-with-data",
        "a hidden tab holds rows of other visits",
        Sheet(truth),
        [],
        hide,
        [Bad("file", ["Old"], None, ["Old"])],
    )


def color_means_none():
    """Yellow means not examined; colors are not read, and the blank cell holds the row."""
    truth = visits()
    sheet = Sheet(truth).set(2, "S1H1B2", None)

    def yellow(book):
        book.worksheets[0][sheet.cell(2, "S1H1B2")].fill = openpyxl.styles.PatternFill("solid", fgColor="FFFF00")

    return book_case(
        "color-for-none",
        "a blank yellow count",
        sheet,
        without(truth, 2),
        yellow,
        [bad_cell(sheet, 2, "S1H1B2", "counts", truth[2])],
    )


def shifted():
    return [
        shifted_right(),
        shifted_counts(),
        swapped_columns(),
        count_in_stage(),
        lat_of_another_state(),
        same_row_twice(),
        row_twice_differing(),
    ]


def shifted_right():
    """One row is one cell to the right from the scout on."""
    truth = visits()
    sheet = Sheet(truth)

    def write(path, grid):
        grid[3] = [*grid[3][:2], None, *grid[3][2:-1]]
        writers.by_csv(path, grid)

    bad = [bad_cell(sheet, 2, "scout", "observer_id", truth[2], words=["lon", "blank", "Lon", "Scout"])]
    bad[0].where += ["D4", "E4"]
    return sheet_case("S-row-shifted", "a row shifted by one cell", sheet, without(truth, 2), bad, write=write)


def shifted_counts():
    """The counts of a row are one column to the left; the last is blank."""
    truth = visits()
    sheet = Sheet(truth)

    def write(path, grid):
        grid[3] = [*grid[3][:11], *grid[3][12:], None]
        writers.by_csv(path, grid)

    bad = [bad_cell(sheet, 2, "S2H2B6", "counts", truth[2])]
    return sheet_case(
        "S-counts-shifted", "the counts of a row one column to the left", sheet, without(truth, 2), bad, write=write
    )


def swapped_columns():
    truth = visits()
    sheet = Sheet(truth)
    for row in sheet.rows:
        row["cost"], row["price"] = row["price"], row["cost"]
    bad = [bad_cell(sheet, row, "price", "market_value", visit, words=["cost"]) for row, visit in enumerate(truth)]
    return sheet_case("S-cost-price-swapped", "cost and price in each other's column", sheet, [], bad)


def count_in_stage():
    return bad_one("count-in-stage", "a count in the column of the stage", "stage", 3, "crop_stage")


def lat_of_another_state():
    return bad_one("point-elsewhere", "a latitude of another state", "lat", 35.25, "lat")


def same_row_twice():
    """A row copied twice is one visit."""
    truth = visits()
    sheet = Sheet(truth)
    sheet.rows.append(dict(sheet.rows[1]))
    return sheet_case("S-row-twice", "one row twice", sheet, truth)


def row_twice_differing():
    truth = visits()
    sheet = Sheet(truth)
    sheet.rows.append(dict(sheet.rows[1]))
    sheet.set(4, "S1H1B2", 9)
    bad = [Bad("counts", ["row 6", "line 6", "M6", "rows"], None, ["revision", "S1H1B2", "twice", "content"])]
    return sheet_case("S-row-twice-differing", "one visit in two rows with another count", sheet, truth, bad)
