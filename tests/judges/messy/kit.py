"""What many cases share: a sheet with its mapping, loaded as an office would load it."""

from pathlib import Path

import mapping as mappings
import writers
from case import Bad, Case
from visits import SUBMITTED, key

HANDED_IN = ["--submitted-at", SUBMITTED]


def load(name, *more, mapping="sheet.toml", at=True):
    return ["load", name, "--mapping", mapping, *(HANDED_IN if at else []), *more]


def sheet_case(
    id,
    story,
    sheet,
    truth,
    bad=(),
    *,
    layout=None,
    name="sheet.csv",
    write=None,
    steps=None,
    map_text=None,
    way=(),
    checks=(),
    held_at_most=None,
    tolerance=1e-6,
    clear=(),
    **how,
):
    """A case of one sheet: written by `write(path, grid)` or by the usual program for its name, with its mapping."""
    text = map_text if map_text is not None else mappings.mapping(sheet, layout or sheet.layout, **how)
    grid = sheet.grid()

    def make(folder):
        written(folder / name, grid, write)
        Path(folder, "sheet.toml").write_text(text, "utf-8")

    return Case(
        id,
        story,
        make,
        steps or [load(name)],
        list(truth),
        list(bad),
        list(checks),
        list(way),
        held_at_most,
        tolerance,
        list(clear),
    )


def written(path, grid, write=None):
    usual = {".csv": writers.by_csv, ".xlsx": writers.by_openpyxl, ".xls": writers.by_xlwt, ".ods": writers.by_odfpy}
    (write or usual[path.suffix])(path, grid)


def bad_cell(sheet, row, column, member, visit, **more):
    """A cell that must not be accepted: named by its place or its row."""
    line = sheet.line(row)
    where = [sheet.cell(row, column), f"row {line}", f"line {line}", f"rows {line}"]
    words = [sheet.headers[column], *more.pop("words", [])]
    return Bad(member, where, key(visit), words, **more)


def expect(condition, words):
    """For checks: a list with the fault, or none."""
    return [] if condition else [words]


def says(word):
    """A check of what is said: there is a word of what is left out."""
    return lambda store, run, messages: expect(word in messages, f"no message says {word}")
