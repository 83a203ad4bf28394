"""Opens spreadsheets of an export with other people's programs and says what their cells are.

Usage: check_export.py FILE [FILE ...]. Each file is opened with LibreOffice, a workbook with openpyxl too. Prints a JSON
object by file name: "formulas", every cell that a program took for a formula or that begins one as text of a
table; "cells", how many hold something; "texts", all texts that LibreOffice shows.
"""

import csv
import json
import pathlib
import re
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ElementTree

import openpyxl

# OWASP, CSV injection: = + - @, tab, carriage return, and full-width forms.
STARTS = tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
# A longitude in the west begins with a minus sign and is a number all the same.
NUMBER = re.compile(r"-[0-9]+(\.[0-9]+)?")
TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"


def of_openpyxl(path):
    formulas, cells = [], 0
    for sheet in openpyxl.load_workbook(path):
        for row in sheet.iter_rows():
            for cell in row:
                cells += cell.value is not None
                if cell.data_type == "f":
                    formulas.append(f"openpyxl {sheet.title}!{cell.coordinate}: {cell.value}")
    return formulas, cells


def of_text(path):
    """A table of text says nowhere what is a text: there no cell may even begin like a formula."""
    with open(path, newline="", encoding="utf-8-sig") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    unsafe = [cell for cell in cells if cell.startswith(STARTS) and not NUMBER.fullmatch(cell)]
    return [f"text: {cell[:80]!r}" for cell in unsafe], len(cells)


def opened_by_libreoffice(paths, folder):
    """Every file as LibreOffice understands it, in its own flat form, by the name of the file."""
    arguments = ["soffice", "--headless", f"-env:UserInstallation={(folder / 'profile').as_uri()}"]
    arguments += ["--convert-to", "fods", "--outdir", str(folder)]
    # Tables of text: comma, double quote, UTF-8, and formulas evaluated as a careless reader has it.
    arguments.append("--infilter=CSV:44,34,76,1,,0,false,true,false,false,false,-1,true")
    tables = [path for path in paths if path.suffix == ".csv"]
    workbooks = [path for path in paths if path.suffix != ".csv"]
    for files, given in ((tables, arguments), (workbooks, arguments[:-1])):
        if files:
            subprocess.run([*given, *map(str, files)], check=True, capture_output=True)
    return {path.name: ElementTree.parse(folder / (path.stem + ".fods")) for path in paths}


def of_libreoffice(tree):
    formulas, texts = [], []
    for cell in tree.iter(TABLE + "table-cell"):
        text = "\n".join("".join(paragraph.itertext()) for paragraph in cell.iter(TEXT + "p"))
        if text:
            texts.append(text)
        if cell.get(TABLE + "formula"):
            formulas.append(f"LibreOffice: {cell.get(TABLE + 'formula')}")
    return formulas, texts


paths = [pathlib.Path(name) for name in sys.argv[1:]]
with tempfile.TemporaryDirectory() as folder:
    opened = opened_by_libreoffice(paths, pathlib.Path(folder))
checked = {}
for path in paths:
    own, cells = of_text(path) if path.suffix == ".csv" else of_openpyxl(path)
    theirs, texts = of_libreoffice(opened[path.name])
    checked[path.name] = {"formulas": own + theirs, "cells": cells, "texts": texts}
print(json.dumps(checked))
