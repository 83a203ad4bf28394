"""Mends held records as their sender would: opens what `held export` wrote, changes it, saves it.

Usage: mend.py FILE OUT MENDINGS. FILE is an .xlsx, .csv or .ndjson of an export; MENDINGS is a JSON file, by
visit_id (or "" for what is no JSON): an object of new members by JSON Pointer, or a whole new record.
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


def mend_workbook(source, out, mendings):
    workbook = openpyxl.load_workbook(source)
    for sheet in workbook:
        header = [cell.value for cell in sheet[1]]
        if "record_mended" not in header:
            continue
        column = header.index("record_mended") + 1
        for row in range(2, sheet.max_row + 1):
            cell = sheet.cell(row, column)
            if cell.value:
                cell.value = mended(cell.value, mendings)
    workbook.save(out)


def mend_table(source, out, mendings):
    with open(source, newline="", encoding="utf-8-sig") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        row["record_mended"] = mended(row["record_mended"].removeprefix("'"), mendings)
    with open(out, "w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)


def mend_lines(source, out, mendings):
    lines = []
    for line in source.read_text("utf-8").splitlines():
        wrapped = json.loads(line)
        record = wrapped["record"]
        text = record if isinstance(record, str) else json.dumps(record)
        wrapped["record"] = json.loads(mended(text, mendings))
        lines.append(json.dumps(wrapped))
    out.write_text("\n".join(lines) + "\n", "utf-8")


source, out = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2])
mend = {".xlsx": mend_workbook, ".csv": mend_table, ".ndjson": mend_lines}[source.suffix]
mend(source, out, json.loads(pathlib.Path(sys.argv[3]).read_text("utf-8")))
