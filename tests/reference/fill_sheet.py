"""Fills a count sheet as a scout would, with openpyxl, and tells what openpyxl sees in it.

    fill_sheet.py fill EMPTY.xlsx CELLS.json FILLED.xlsx
    fill_sheet.py describe SHEET.xlsx

CELLS.json is {"Visits": {"B2": {"day": "2026-07-21"}, "H2": 62.4, ...}, ...}: numbers, texts (which
stay texts, whatever they begin with), or a day or a moment. `fill` refuses to write into a locked cell unless the cell's value is {"force": value}, as a scout
could not either. `describe` prints one JSON object.
"""

import datetime
import json
import sys

import openpyxl


def value_of(entry):
    """A cell's value from its JSON, and whether the lock is passed over."""
    if not isinstance(entry, dict):
        return entry, False
    if "day" in entry:
        return datetime.date.fromisoformat(entry["day"]), False
    if "moment" in entry:
        return datetime.datetime.fromisoformat(entry["moment"]), False
    return value_of(entry["force"])[0], True


def fill(empty, cells, filled):
    workbook = openpyxl.load_workbook(empty)
    with open(cells, encoding="utf-8") as file:
        entries = json.load(file)
    for tab, written in entries.items():
        if tab not in workbook.sheetnames:
            workbook.create_sheet(tab)
        sheet = workbook[tab]
        for place, entry in written.items():
            value, forced = value_of(entry)
            cell = sheet[place]
            if not forced and sheet.protection.sheet and cell.protection.locked:
                sys.exit(f"{tab}!{place} is locked")
            cell.value = value
            if isinstance(value, str):
                cell.data_type = "s"
    workbook.save(filled)


def describe(path):
    workbook = openpyxl.load_workbook(path)
    tabs = {}
    for sheet in workbook.worksheets:
        cells = [cell for row in sheet.iter_rows() for cell in row]
        checks = sheet.data_validations.dataValidation
        tabs[sheet.title] = {
            "state": sheet.sheet_state,
            "protected": sheet.protection.sheet,
            "password": sheet.protection.password,
            "frozen": sheet.freeze_panes,
            "landscape": sheet.page_setup.orientation == "landscape",
            "fit_to_width": sheet.sheet_properties.pageSetUpPr.fitToPage and sheet.page_setup.fitToHeight == 0,
            "repeated": sheet.print_title_rows,
            "headings": [cell.value for cell in sheet[1]],
            "notes": sum(cell.comment is not None for cell in sheet[1]),
            "formulas": [cell.coordinate for cell in cells if cell.data_type == "f"],
            "starts_as_formula": [
                cell.coordinate
                for cell in cells
                if isinstance(cell.value, str) and cell.value[:1] in ("=", "+", "-", "@", "\t", "\r")
            ],
            "unlocked": [cell.coordinate for cell in cells if not cell.protection.locked],
            "rows": sheet.max_row,
            "checks": {
                str(check.sqref): {
                    "type": check.type,
                    "operator": check.operator or "between",
                    "low": check.formula1,
                    "high": check.formula2,
                    "blank_allowed": check.allow_blank,
                }
                for check in checks
            },
        }
    print(json.dumps({"created": str(workbook.properties.created), "tabs": tabs}))


if __name__ == "__main__":
    if sys.argv[1] == "fill":
        fill(*sys.argv[2:])
    else:
        describe(*sys.argv[2:])
