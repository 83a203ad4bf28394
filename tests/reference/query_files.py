"""Reads an answer of `bractline sql` as Parquet and as Arrow with pyarrow, and compares both with its CSV.

    query_files.py PARQUET ARROW CSV

Prints JSON: rows and the types of the columns. Exits 1 on a difference.
"""

import csv
import json
import sys

import pyarrow.ipc
import pyarrow.parquet


def main(parquet, arrow, text):
    table = pyarrow.parquet.read_table(parquet)
    with pyarrow.ipc.open_file(arrow) as file:
        other = file.read_all()
    if not table.equals(other):
        sys.exit("the Parquet file and the Arrow file hold other rows")
    if b"private" not in other.schema.metadata:
        sys.exit("the Arrow file does not say that it is private")
    with open(text, newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    for place, row in enumerate(rows):
        for name in table.column_names:
            value = table[name][place].as_py()
            same = row[name] == "" if value is None else row[name] in (str(value), str(value).lower())
            if not same and not (isinstance(value, float) and float(row[name]) == value):
                sys.exit(f"row {place} {name}: {value!r} and {row[name]!r}")
    if len(rows) != table.num_rows:
        sys.exit(f"{table.num_rows} rows, {len(rows)} in the text")
    print(json.dumps({"rows": len(rows), "types": [str(field.type) for field in table.schema]}))


main(*sys.argv[1:])
