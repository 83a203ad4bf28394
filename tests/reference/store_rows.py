"""What the kept tables of workspaces hold, read from the Delta log and the Parquet files without bractline.

Usage: store_rows.py WORKSPACE [WORKSPACE ...]. Prints a JSON object, or a list of them for several workspaces.
Only rows whose load has a receipt count.
"""

import hashlib
import json
import pathlib
import sys
import urllib.parse

import pyarrow.parquet

# Longer records are given by their hash and length only.
SHOWN_BYTES_MAX = 64 * 1024


def rows(table, columns):
    """The rows of a table's newest version, as dictionaries."""
    files = []
    for entry in sorted((table / "_delta_log").glob("*.json")):
        for line in entry.read_text("utf-8").splitlines():
            action = json.loads(line)
            if "add" in action:
                files.append(action["add"]["path"])
            elif "remove" in action:
                files.remove(action["remove"]["path"])
    for name in files:
        path = table / urllib.parse.unquote(name)
        yield from pyarrow.parquet.ParquetFile(path).read(columns=columns).to_pylist()


def held_row(row):
    record = row["record"]
    assert hashlib.sha256(record).digest() == row["record_sha256"], "record_sha256 is not that of the record"
    shown = record.hex() if len(record) <= SHOWN_BYTES_MAX else None
    return {
        "file_name": row["file_name"],
        "line": row["line"],
        "length": len(record),
        "sha256": hashlib.sha256(record).hexdigest(),
        "hex": shown,
        "reasons": json.loads(row["reasons"]),
    }


def closing_row(row):
    told = ("line", "how", "visit_id", "revision", "replaced_by", "reason", "who")
    return {"sha256": row["record_sha256"].hex(), **{name: row[name] for name in told}}


def store_rows(workspace):
    store = pathlib.Path(workspace) / "store"
    receipts = list(rows(store / "receipts", None))
    loads = {row["load_id"] for row in receipts}
    visible = lambda table, columns: [row for row in rows(store / table, columns) if row["load_id"] in loads]
    visits = visible("visits", ["load_id", "visit_id", "revision", "retracted", "content_sha256"])
    units = visible("units", ["load_id", "visit_id"])
    held = visible("held", ["load_id", "file_name", "line", "record_sha256", "record", "reasons"])
    closed = [
        row
        for row in rows(store / "held_closed", None)
        if row["how"] == "dropped" or row["load_id"] in loads
    ]
    highest = {}
    for row in visits:
        if row["revision"] >= highest.get(row["visit_id"], row)["revision"]:
            highest[row["visit_id"]] = row
    return {
        "visits": sorted([row["visit_id"], row["revision"]] for row in visits),
        "current": {
            visit_id: row["content_sha256"].hex() for visit_id, row in sorted(highest.items()) if not row["retracted"]
        },
        "units": len(units),
        "held": sorted((held_row(row) for row in held), key=lambda row: (row["file_name"], row["line"])),
        "held_closed": sorted((closing_row(row) for row in closed), key=lambda row: (row["line"], row["sha256"])),
        "receipts": [
            {name: row[name] for name in ("file_name", "received", "accepted", "duplicate", "held", "held_before")}
            for row in receipts
        ],
    }


if __name__ == "__main__":
    read = [store_rows(workspace) for workspace in sys.argv[1:]]
    print(json.dumps(read[0] if len(read) == 1 else read))
