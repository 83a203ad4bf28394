"""How many records a file holds, counted in the file itself by pandas and Python's csv: no code of bractline.

A record is what one key stands for: the rows of one visit. Rows that are blank, that repeat the header or that a
plan says to leave out are none. Where nothing says to which visit a row belongs, it is a record of its own.
"""

import csv
import io
import re

import pandas


def count(path, plan):
    """Plan: header (rows above the data), keys (columns from 0), dropped (expression on the first cell that is
    filled), carried (a row without a key goes on with the one above), encoding and delimiter of a text file."""
    records = 0
    for name, rows in sheets(path, plan):
        keys = set()
        header = [rows[plan["header"] - 1], *(rows[place - 1] for place in plan.get("headers", []))]
        for row in rows[plan["header"] :]:
            filled = [cell for cell in row if cell != ""]
            if not filled or row in header or re.match(plan.get("dropped", "^$"), filled[0]):
                continue
            key = (name, *(row[column] for column in plan["keys"]))
            if not any(key[1:]):
                records += 0 if plan["carried"] else 1
            elif plan["each"]:
                records += 1
            else:
                keys.add(key)
        records += len(keys)
    return records


def sheets(path, plan):
    """Name and rows of each sheet that is to be read, as text."""
    if path.suffix in (".csv", ".txt", ".tsv"):
        text = path.read_bytes().decode(plan["encoding"]).removeprefix("\ufeff")
        lines = text.split("\n", 1)[1] if text.startswith("sep=") else text
        rows = [*csv.reader(io.StringIO(lines), delimiter=plan["delimiter"])]
        width = max(map(len, rows))
        yield "", [row + [""] * (width - len(row)) for row in rows]
        return
    engine = {".xls": "xlrd", ".ods": "odf"}.get(path.suffix, "openpyxl")
    for name, frame in pandas.read_excel(path, sheet_name=None, header=None, dtype=str, engine=engine).items():
        if re.search(plan.get("sheets", ""), name):
            yield name, frame.fillna("").values.tolist()
