"""Mends held records as their sender would: opens what `held export` wrote, changes it, saves it.

Usage: mend.py FILE … FOLDER MENDINGS. Each FILE is an .xlsx, .csv or .ndjson of an export and is saved in FOLDER with
`mended-` before its name; MENDINGS is a JSON file, by visit_id (or "" for what is no JSON): an object of new members by JSON Pointer, or a whole new record.

Records in columns are mended cell by cell, and no other cell than those that held_expected names: under "cells", a list
of {"file": name of the file as sent, "says": a piece of held_problem, "write": {column: value}}. A named cell that the
list leaves as it is, is an error, and so is a piece of the list that meets nothing.
"""

import csv
import json
import pathlib
import sys

import openpyxl


def mended(record, mendings):
    """The record as text, mended; as it is if nothing was said about it."""
    try:
        document = json.loads(record)
    except ValueError:
        document = None
    if not isinstance(document, dict):
        return json.dumps(mendings[""]) if "" in mendings else record
    for pointer, value in mendings.get(document.get("visit_id", "?"), {}).items():
        *path, last = pointer.split("/")[1:]
        place = document
        for step in path:
            place = place[int(step)] if isinstance(place, list) else place[step]
        if isinstance(place, list):
            place[int(last)] = value
        else:
            place[last] = value
    return json.dumps(document)


def named_columns(header, right):
    """The columns that a line of held_expected names: `a`, `a, b` or `a to b`."""
    names = right.split(": ")[0]
    if " to " in names and all(name in header for name in names.split(" to ")):
        first, last = (header.index(name) for name in names.split(" to "))
        return header[first : last + 1]
    names = names.split(", ")
    return names if all(name in header for name in names) else []


def mend_cells(header, rows, mendings):
    """Mends rows of cells, each a list of getters and setters by the place of its column."""
    wanted = mendings.get("cells", [])
    at = header.index
    file = None
    for get, put in rows:
        file = get(at("held_file")) or file
        wrong, right = (str(get(at(name)) or "").split("\n") for name in ("held_problem", "held_expected"))
        for said, expected in zip(wrong, right):
            if not said:
                continue
            meets = [it for it in wanted if it["file"] == file.lstrip("'") and it["says"] in said]
            if not meets:
                sys.exit(f"nobody says how to mend: {file}: {said} ({expected})")
            named = named_columns(header, expected)
            for mending in meets:
                mending["met"] = True
                for column, value in mending["write"].items():
                    if column not in named:
                        sys.exit(f"{column} is not named by: {expected}")
                    put(at(column), value)


def mend_workbook(source, out, mendings):
    workbook = openpyxl.load_workbook(source)
    for sheet in workbook:
        header = [cell.value for cell in sheet[1]]
        if "held_expected" in header:

            def cells(row):
                def put(column, value):
                    sheet.cell(row, column + 1).value = value

                return lambda column: sheet.cell(row, column + 1).value, put

            mend_cells(header, [cells(row) for row in range(2, sheet.max_row + 1)], mendings)
        if "record_corrected" not in header:
            continue
        column = header.index("record_corrected") + 1
        for row in range(2, sheet.max_row + 1):
            cell = sheet.cell(row, column)
            if cell.value:
                cell.value = mended(cell.value, mendings)
    workbook.save(out)


def mend_table(source, out, mendings):
    with open(source, newline="", encoding="utf-8-sig") as file:
        header, *rows = csv.reader(file)
    if "held_expected" in header:
        mend_cells(header, [(row.__getitem__, row.__setitem__) for row in rows], mendings)
    else:
        column = header.index("record_corrected")
        for row in rows:
            row[column] = mended(row[column].removeprefix("'"), mendings)
    with open(out, "w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([header, *rows])


def mend_lines(source, out, mendings):
    lines = []
    for line in source.read_text("utf-8").splitlines():
        wrapped = json.loads(line)
        record = wrapped["record"]
        text = record if isinstance(record, str) else json.dumps(record)
        wrapped["record"] = json.loads(mended(text, mendings))
        lines.append(json.dumps(wrapped))
    out.write_text("\n".join(lines) + "\n", "utf-8")


*sources, out_folder, how = map(pathlib.Path, sys.argv[1:])
mendings = json.loads(how.read_text("utf-8"))
for source in sources:
    mend = {".xlsx": mend_workbook, ".csv": mend_table, ".ndjson": mend_lines}[source.suffix]
    mend(source, out_folder / f"mended-{source.name}", mendings)
left = [mending["says"] for mending in mendings.get("cells", []) if "met" not in mending]
if left:
    sys.exit(f"nothing of the export says: {left}")
