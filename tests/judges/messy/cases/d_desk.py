"""D: held records sent back to their sender, corrected by a person with another program, and loaded again."""

import csv
import io
import json
import shutil
from pathlib import Path

import openpyxl

import mapping as mappings
import records
import writers
from case import Bad, Case
from kit import load, says
from sheet import Sheet
from store import query
from visits import changed, visits

DAY = "2026-07-21"


def cases():
    return [
        columns("corrected", "the day corrected, nothing else", day),
        columns("us-day", "the day corrected as 7/21/2026", us_day),
        columns("lon-renamed", "the heading lon renamed to longitude", lon_renamed, bad=["longitude", "lon"]),
        columns("own-column", "a column of one's own added", own_column, said=["checked by"]),
        columns("id-deleted", "the column held_id deleted", id_deleted),
        columns(
            "id-and-recipe-deleted",
            "held_id and held_visit_id_from deleted",
            lambda book: drop(book, "held_id", RECIPE),
        ),
        columns(
            "our-columns-deleted",
            "every column that begins with held_ deleted but held_place and held_file",
            places_left,
        ),
        columns("place-and-id-deleted", "held_id, held_file and held_place deleted", places_lost),
        columns("first-id-deleted", "the held_id of the first row deleted", first_id_deleted),
        columns("side-deleted", "the column side deleted, which is empty", side_deleted, bad=["side"]),
        columns(
            "last-count-deleted",
            "the column count_6 deleted",
            last_count_deleted,
            bad=["count_6"],
            member="counts",
        ),
        columns("crop-deleted", "the column crop_type deleted", crop_deleted, bad=["crop_type"]),
        columns(
            "head-deleted", "the row of one head deleted", head_deleted, bad=["head", "unit", "row"], member="counts"
        ),
        columns("head-added", "a row of one more head added", head_added, bad=["head", "unit", "row"], member="counts"),
        columns(
            "two-heads-deleted",
            "the rows of a whole site deleted",
            site_deleted,
            bad=["head", "unit", "row", "site"],
            member="counts",
        ),
        columns(
            "counts-cleared",
            "the counts of one head cleared",
            counts_cleared,
            bad=["head", "unit", "row"],
            member="counts",
        ),
        columns(
            "head-deleted-on-purpose",
            "a head deleted, and the new number of heads written",
            head_deleted_and_said,
            truth_of=without_head,
        ),
        columns(
            "head-deleted-then-said",
            "a head deleted; sent out again, the new number of heads written",
            head_deleted,
            then=said_later,
            truth_of=without_head,
        ),
        columns(
            "head-deleted-then-sent-back",
            "a head deleted; sent out again, and sent back as it is",
            head_deleted,
            then=lambda book: None,
            bad=["head", "unit", "row"],
            member="counts",
        ),
        columns("rows-reversed", "the rows of the heads in another order", rows_reversed),
        columns("title-row", "a title row on top", title_row),
        columns("tab-renamed", "the tab renamed", lambda book: renamed(book, "Corrected")),
        columns("note-rows", "a note below the rows", note_below),
        columns("nothing-corrected", "sent back as it was", None, bad=["observed_on", "date"]),
        columns("wrong-column", "the right day written into held_expected", wrong_column, bad=["observed_on", "date"]),
        columns(
            "count-changed-too",
            "the day corrected, and a count deleted by mistake",
            count_deleted,
            bad=["count"],
            member="counts",
        ),
        columns("saved-as-ods", "corrected, saved as ODS by LibreOffice", day, saved_as="ods"),
        columns("saved-as-csv", "corrected, saved as CSV by LibreOffice", day, saved_as="csv"),
        columns("saved-as-xls", "corrected, saved as XLS by LibreOffice", day, saved_as="xls"),
        as_text("text-corrected", "exported as CSV, corrected, saved with commas", ","),
        as_text("text-semicolons", "exported as CSV, saved with semicolons and a byte order mark", ";", "\ufeff"),
        json_cell(
            "json-corrected", "a record as JSON in a cell, corrected", lambda text: text.replace("2026-07-99", DAY)
        ),
        json_cell("json-smart-quotes", "a record as JSON in a cell, with smart quotes", smart_quotes),
        json_cell(
            "json-id-deleted",
            "a record as JSON in a cell, corrected, the column held_id deleted",
            right_day,
            lambda book: drop(book, "held_id"),
        ),
        json_cell(
            "json-corrected-renamed",
            "the column record_corrected renamed",
            right_day,
            lambda book: renamed_column(book, "record_corrected", "record_fixed"),
            bad=["record_corrected", "record_fixed"],
        ),
        json_cell(
            "json-id-deleted-corrected-renamed",
            "held_id deleted and record_corrected renamed",
            right_day,
            lambda book: (drop(book, "held_id"), renamed_column(book, "record_corrected", "record_fixed")),
            bad=["record_corrected", "record_fixed"],
        ),
        json_cell(
            "json-cut",
            "a record as JSON in a cell, its last brace lost",
            lambda text: text.replace("2026-07-99", DAY)[:-1],
            bad=["JSON", "record"],
        ),
    ]


def columns(id, story, change, bad=(), member="visit_id", saved_as=None, said=(), then=None, truth_of=None):
    """One of four rows has the day 7-21 and was held; its file comes back.

    `then` changes what goes out a second time, `truth_of` what is meant of the visit that was held.
    """
    truth = visits()
    sheet = Sheet(truth).set(1, "date", "7-21")

    def make(folder):
        writers.by_csv(folder / "sheet.csv", sheet.grid())
        Path(folder, "sheet.toml").write_text(mappings.mapping(sheet), "utf-8")

    bads = [Bad(member, list(bad), ("F-102", DAY), list(bad))] if bad else []
    meant = [visit for place, visit in enumerate(truth) if place != 1 or not bad]
    if truth_of:
        meant = [truth_of(visit) if visit["field_id"] == "F-102" else visit for visit in meant]
    steps = [load("sheet.csv"), exported, lambda run: returned(run, change, saved_as), load_returned]
    if then:
        steps += [exported_again, lambda run: returned(run, then), load_returned]
    one_open = [at_most_one_open] if bad else [nothing_open]
    return Case(f"D-{id}", story, make, steps, meant, bads, one_open, clear=[says(word) for word in said])


def as_text(id, story, delimiter, first=""):
    """The record goes back as a table of text, is corrected in a program that saves texts, and comes back."""
    truth = visits()
    sheet = Sheet(truth).set(1, "date", "7-21")

    def make(folder):
        writers.by_csv(folder / "sheet.csv", sheet.grid())
        Path(folder, "sheet.toml").write_text(mappings.mapping(sheet), "utf-8")

    def corrected(run):
        run.bractline("held", "export", "--out", "letters", "--format", "csv")
        path = sorted((run.path / "letters").glob("*.csv"))[0]
        rows = list(csv.reader(io.StringIO(path.read_text("utf-8-sig"), newline="")))
        rows[1][rows[0].index("observed_on")] = DAY
        writers.by_csv(run.path / "returned.csv", rows, delimiter, first=first)

    return Case(f"D-{id}", story, make, [load("sheet.csv"), corrected, load_returned], truth, checks=[nothing_open])


def exported(run):
    run.bractline("held", "export", "--out", "letters")


def exported_again(run):
    shutil.rmtree(run.path / "letters")
    exported(run)


def the_letter(run):
    return sorted((run.path / "letters").glob("*.xlsx"))[0]


def returned(run, change, saved_as=None):
    path = the_letter(run)
    book = openpyxl.load_workbook(path)
    if change:
        change(book)
    target = run.path / "returned.xlsx"
    book.save(target)
    if saved_as:
        writers.by_libreoffice(target, run.path / f"returned.{saved_as}")
        target.unlink()


def load_returned(run):
    """As the office does; the first load has said nothing that counts as an answer to this file."""
    run.said.clear()
    run.office("load", sorted(path.name for path in run.path.glob("returned.*"))[0])


def open_records(run):
    ended = "select record_sha256 from held_closed"
    return len(query(run, f"select distinct record_sha256, line from held where record_sha256 not in ({ended})"))


def at_most_one_open(store, run, messages):
    number = open_records(run)
    return [] if number <= 1 else [f"{number} records are open where one was held"]


def nothing_open(store, run, messages):
    corrected = any((visit["field_id"], visit["observed_on"]) == ("F-102", DAY) for visit in store.visits)
    number = open_records(run)
    return [f"the corrected visit is stored and {number} records are open"] if corrected and number else []


def page(book):
    return book.worksheets[0]


def at(book, heading):
    return next(cell.column for cell in page(book)[1] if cell.value == heading)


def day(book, written=DAY):
    page(book).cell(2, at(book, "observed_on")).value = written


def us_day(book):
    day(book, "7/21/2026")


def lon_renamed(book):
    day(book)
    page(book).cell(1, at(book, "lon")).value = "longitude"


def own_column(book):
    day(book)
    place = page(book).max_column + 1
    page(book).cell(1, place, "checked by")
    page(book).cell(2, place, "north office")


def id_deleted(book):
    day(book)
    page(book).delete_cols(at(book, "held_id"))


RECIPE = "held_visit_id_from"


def drop(book, *headings):
    for heading in headings:
        page(book).delete_cols(at(book, heading))
    if "observed_on" in [cell.value for cell in page(book)[1]]:
        day(book)


def renamed_column(book, heading, words):
    page(book).cell(1, at(book, heading)).value = words


def places_left(book):
    ours = [cell.value for cell in page(book)[1] if str(cell.value).startswith("held_")]
    drop(book, *[heading for heading in ours if heading not in ("held_file", "held_place")])


def places_lost(book):
    drop(book, "held_id", "held_file", "held_place")


def first_id_deleted(book):
    day(book)
    page(book).cell(2, at(book, "held_id")).value = None


def side_deleted(book):
    drop(book, "side")


def last_count_deleted(book):
    drop(book, "count_6")


def counts_cleared(book):
    day(book)
    for bract in range(1, 7):
        page(book).cell(3, at(book, f"count_{bract}")).value = None


def head_deleted_and_said(book):
    head_deleted(book)
    said_later(book)


def said_later(book):
    page(book).cell(2, at(book, "held_units")).value = 3


def without_head(visit):
    return changed(visit, counts={1: visit["counts"][1][:1], 2: visit["counts"][2]})


def crop_deleted(book):
    day(book)
    page(book).delete_cols(at(book, "crop_type"))


def head_deleted(book):
    day(book)
    page(book).delete_rows(3)


def site_deleted(book):
    day(book)
    page(book).delete_rows(4, 2)


def head_added(book):
    day(book)
    sheet = page(book)
    values = [cell.value for cell in sheet[3]]
    sheet.append(values)
    sheet.cell(sheet.max_row, at(book, "unit")).value = 3
    sheet.cell(sheet.max_row, at(book, "site")).value = 2


def rows_reversed(book):
    day(book)
    sheet = page(book)
    rows = [[cell.value for cell in row] for row in sheet.iter_rows(min_row=3)]
    for number, row in enumerate(reversed(rows), 3):
        for place, value in enumerate(row, 1):
            sheet.cell(number, place).value = value


def title_row(book):
    day(book)
    page(book).insert_rows(1)
    page(book)["A1"] = "Corrected by the north office"


def renamed(book, name):
    day(book)
    page(book).title = name


def note_below(book):
    day(book)
    page(book).cell(page(book).max_row + 2, 1, "Thank you, all corrected now.")


def wrong_column(book):
    page(book).cell(2, at(book, "held_expected")).value = DAY


def count_deleted(book):
    day(book)
    page(book).cell(3, at(book, "count_2")).value = None


def right_day(text):
    return text.replace("2026-07-99", DAY)


def json_cell(id, story, change, change_sheet=None, bad=()):
    """A record of an app with a day that no calendar has."""
    truth = visits(2)

    def make(folder):
        lines = [json.dumps(records.record(visit)) for visit in truth]
        lines[1] = lines[1].replace(f'"observed_on": "{DAY}"', '"observed_on": "2026-07-99"')
        Path(folder, "app.ndjson").write_text("\n".join(lines) + "\n", "utf-8")

    def change_cell(book):
        sheet = page(book)
        place = next(cell.column for cell in sheet[1] if str(cell.value) in ("record_mended", "record_corrected"))
        sheet.cell(2, place).value = change(sheet.cell(2, place).value)
        if change_sheet:
            change_sheet(book)

    bads = [Bad("visit_id", list(bad), ("F-102", DAY), list(bad))] if bad else []
    meant = truth[:1] if bad else truth
    steps = [["load", "app.ndjson"], exported, lambda run: returned(run, change_cell), load_returned]
    return Case(f"D-{id}", story, make, steps, meant, bads, [at_most_one_open if bad else nothing_open])


def smart_quotes(text):
    """As a word processor turns the quotation marks of a text that went through it."""
    text = text.replace("2026-07-99", DAY)
    pieces = text.split('"')
    return (
        "".join(piece + ("\u201c" if place % 2 == 0 else "\u201d") for place, piece in enumerate(pieces[:-1]))
        + pieces[-1]
    )
