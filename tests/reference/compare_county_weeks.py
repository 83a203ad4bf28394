"""Compares two private tables of county-weeks (county_week_full) cell by cell.

Usage: compare_county_weeks.py A.csv B.csv [COLUMN ...]

Rows are matched by county, week and protocol. Counts, flags and texts must be equal, floats equal
to 1e-9, absolute or relative. The columns that are named, and county_name, may stand in one table alone and
are left out then; every other column must stand in both. Prints what was compared; exits 1 on any difference.
"""

import csv
import math
import sys

KEY = ["county_id", "season", "iso_week", "protocol"]
FLOATS = [
    "share_at_threshold", "share_low", "share_high", "mean_pressure", "median_pressure",
    "p90_pressure", "max_pressure", "area_share_at_threshold",
]
OTHERS = [
    "county_name", "fields_visited", "farms_given", "farms", "fields_at_threshold", "fields_outside_stage",
    "fields_treated", "fields_with_assumed_economics", "fields_undetermined", "window_opens", "window_closes", "window_basis",
]
TOLERANCE = 1e-9
DIFFERENCES_SHOWN = 10


def read(path):
    """Column names, and rows by key. A key that appears twice ends the comparison."""
    with open(path, newline="", encoding="utf-8") as file:
        reader = csv.DictReader(file)
        rows = {}
        for row in reader:
            key = tuple(row[column] for column in KEY)
            if key in rows:
                sys.exit(f"{path}: two rows for {' '.join(key)}")
            rows[key] = row
        return reader.fieldnames, rows


def float_difference(left, right):
    """Absolute below 1 and relative above it; infinite if only one is a number."""
    if left == "" and right == "":
        return 0.0
    if left == "" or right == "":
        return math.inf
    left, right = float(left), float(right)
    if not (math.isfinite(left) and math.isfinite(right)):
        return math.inf
    absolute = abs(left - right)
    return absolute / max(1.0, abs(left), abs(right))


def main(left_path, right_path, *left_out):
    left_columns, left_rows = read(left_path)
    right_columns, right_rows = read(right_path)
    optional = {"county_name", *left_out}
    unmatched = (set(left_columns) ^ set(right_columns)) - optional
    missing = {*KEY, *FLOATS, *OTHERS} - set(left_columns) - optional
    if unmatched or missing:
        sys.exit(f"columns differ: {', '.join(sorted(unmatched | missing))}")
    if not left_rows:
        sys.exit(f"{left_path} has no rows: nothing was compared")

    differences = []
    for key in sorted(left_rows.keys() ^ right_rows.keys()):
        where = left_path if key in left_rows else right_path
        differences.append(f"{' '.join(key)}: appears only in {where}")

    shared = [name for name in left_columns if name in right_columns and name not in KEY]
    unknown = set(shared) - set(FLOATS) - set(OTHERS)
    if unknown:
        sys.exit(f"columns that this comparison does not know: {', '.join(sorted(unknown))}")
    rows = cells = 0
    largest, largest_at = 0.0, "no cell"
    for key in sorted(left_rows.keys() & right_rows.keys()):
        rows += 1
        for name in shared:
            cells += 1
            left, right = left_rows[key][name], right_rows[key][name]
            at = f"{' '.join(key)} {name}"
            if name in FLOATS:
                difference = float_difference(left, right)
                if difference > largest:
                    largest, largest_at = difference, at
                equal = difference <= TOLERANCE
            else:
                equal = left == right
            if not equal:
                differences.append(f"{at}: {left or 'null'} against {right or 'null'}")

    print(f"{rows} rows compared, {cells} cells, largest difference {largest:.3g} at {largest_at}")
    if differences:
        print(f"{len(differences)} differences, of which the first {DIFFERENCES_SHOWN}:")
        for difference in differences[:DIFFERENCES_SHOWN]:
            print(f"  {difference}")
        sys.exit(1)


if __name__ == "__main__":
    main(*sys.argv[1:])
