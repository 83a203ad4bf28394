"""Tables as other people's programs write them, with what was written into them.

Usage: make_tables.py FOLDER

Writes workbooks, text files and Parquet files into FOLDER with openpyxl, pandas, xlwt, odfpy and LibreOffice
(headless), and `expected.json`: for each file its sheets, each a name and rows, each a number and cells. A
cell is null, a text, a number, true or false, {"date": …}, {"moment": …} or {"broken": …}. Every field and
count in it is invented.
"""

import datetime
import json
import re
import subprocess
import sys
import xml.dom.minidom
import zipfile
from pathlib import Path

import msoffcrypto.format.ooxml
import openpyxl
import pandas
import pyarrow
import pyarrow.parquet
import xlwt
from openpyxl.utils.datetime import CALENDAR_MAC_1904

DAY = datetime.date(2026, 7, 21)
MOMENT = datetime.datetime(2026, 7, 21, 18, 3, 0)
NOT_CALCULATED = {"broken": "formula not calculated: open and save the workbook"}


def shown(value):
    """A value as a cell of `expected.json`."""
    if isinstance(value, datetime.datetime):
        return {"moment": value.isoformat()}
    if isinstance(value, datetime.date):
        return {"date": value.isoformat()}
    if isinstance(value, datetime.time):
        return value.isoformat()
    return None if value == "" else value


def sheet(name, rows, first=1):
    """A sheet of `expected.json`: rows from the first one on, without what is empty at the ends."""
    out = []
    for number, row in enumerate(rows, first):
        cells = [shown(value) for value in row]
        while cells and cells[-1] is None:
            cells.pop()
        out.append([number, cells])
    while out and not out[-1][1]:
        out.pop()
    return {"name": name, "rows": out}


# Title and instructions above a header in row 4, blank and totals rows, numbers as text.
VISITS = [
    ["Invented counts, north district"],
    ["One row per head. Leave no cell blank."],
    [],
    ["Field", "Date", "Time", "Area (ac)", "FIPS", "Eggs", "At threshold", "Remark"],
    ["F-01", DAY, datetime.time(18, 3), 12.5, "01001", 3, True, "windy"],
    ["F-02", DAY, datetime.time(6, 30), 0.1, " 7 ", 0, False, "two\nlines"],
    [],
    ["F-03", MOMENT, "", -3, "1.23E+11", 12, "", "Größe ½ 🌻 <a> & \"b\""],
    ["Total", "", "", "", "", 15],
]
FIELDS = [["Field", "Crop"], ["F-01", "oilseed"], ["F-02", "confection"]]
META = [["protocol", "bsm-eggs"], ["version", 1]]


def fill(worksheet, rows):
    for row, values in enumerate(rows, 1):
        for column, value in enumerate(values, 1):
            if value != "":
                worksheet.cell(row, column, value)


def workbook_of_openpyxl():
    book = openpyxl.Workbook()
    book.active.title = "Visits"
    fill(book.active, VISITS)
    book.active.row_dimensions[6].hidden = True
    fill(book.create_sheet("Fields"), FIELDS)
    book["Fields"].sheet_state = "hidden"
    fill(book.create_sheet("bractline"), META)
    book["bractline"].sheet_state = "veryHidden"
    return book


def three_sheets(folder, expected):
    sheets = [sheet("Visits", VISITS), sheet("Fields", FIELDS), sheet("bractline", META)]
    workbook_of_openpyxl().save(folder / "three-sheets.xlsx")
    expected["three-sheets.xlsx"] = sheets
    for extension in ["xlsx", "xls", "ods"]:
        name = convert(folder, "three-sheets.xlsx", extension)
        expected[name] = sheets if extension != "ods" else [without_truths(sheet) for sheet in sheets]
    (folder / "no-name-at-all").write_bytes((folder / "three-sheets.xlsx").read_bytes())
    expected["no-name-at-all"] = sheets


def without_truths(sheet):
    """LibreOffice writes true and false into ODS as the numbers 1 and 0."""
    rows = [[number, [int(cell) if isinstance(cell, bool) else cell for cell in cells]] for number, cells in sheet["rows"]]
    return {"name": sheet["name"], "rows": rows}


def merged(folder, expected):
    """Headers over two columns, a county down a block. Covered cells keep values that nobody sees."""
    rows = [
        ["Trap A", "hidden", "Trap B", ""],
        ["males", "females", "males", "females"],
        ["Invented", 1, 2, 3],
        ["Invented", 4, 5, 6],
    ]
    book = openpyxl.Workbook()
    book.active.title = "Traps"
    fill(book.active, rows)
    for cells in ["A1:B1", "C1:D1", "A3:A4"]:
        book.active.merged_cells.add(cells)
    book.save(folder / "merged.xlsx")
    seen = [["Trap A", "", "Trap B"], rows[1], rows[2], ["", 4, 5, 6]]
    expected["merged.xlsx"] = [sheet("Traps", seen)]
    # LibreOffice keeps what is covered, too.
    for extension in ["xls", "ods"]:
        expected[convert(folder, "merged.xlsx", extension)] = [sheet("Traps", seen)]


def laid_out_for_people(folder, expected):
    """An ODS whose XML was indented and commented by hand."""
    with zipfile.ZipFile(folder / "three-sheets-libreoffice.ods") as source:
        parts = {name: source.read(name) for name in source.namelist()}
    content = xml.dom.minidom.parseString(parts["content.xml"])
    for row in content.getElementsByTagName("table:table-row"):
        row.insertBefore(content.createComment(" a row "), row.firstChild)
    for element in content.getElementsByTagName("*"):
        within = element
        while within is not None and within.nodeName not in ("text:p", "text:h"):
            within = within.parentNode
        if within is None:
            for child in [*element.childNodes]:
                element.insertBefore(content.createTextNode("\n   "), child)
    parts["content.xml"] = content.toxml().encode()
    with zipfile.ZipFile(folder / "laid-out.ods", "w") as out:
        for name, part in parts.items():
            out.writestr(name, part)
    expected["laid-out.ods"] = expected["three-sheets-libreoffice.ods"]


def formulas(folder, expected):
    rows = [
        ["Eggs", "Heads", "Mean", "Bad", "Text", "Blank"],
        [6, 4, "=A2/B2", "=A2/0", '="F-" & B2', '=""'],
        [9, 3, "=A3/B3", "=NA()", "=TRUE()", "=DATE(2026,7,21)"],
    ]
    book = openpyxl.Workbook()
    book.active.title = "Sums"
    fill(book.active, rows)
    book.active["F3"].number_format = "yyyy-mm-dd"
    book.active["A5"] = "#REF!"
    book.active["A5"].data_type = "e"
    book.save(folder / "not-calculated.xlsx")
    error = [[], [{"broken": "#REF!"}]]
    no = NOT_CALCULATED
    expected["not-calculated.xlsx"] = [sheet("Sums", [rows[0], [6, 4, no, no, no, no], [9, 3, no, no, no, no], *error])]
    calculated = [
        rows[0],
        [6, 4, 1.5, {"broken": "#DIV/0!"}, "F-4", ""],
        [9, 3, 3, {"broken": "#N/A"}, True, DAY],
        *error,
    ]
    for extension in ["xlsx", "xls", "ods"]:
        name = convert(folder, "not-calculated.xlsx", extension)
        expected[name] = [sheet("Sums", calculated)]
        if extension == "ods":
            # An empty result is written there like none at all.
            calculated[1][5] = no
            expected[name] = [without_truths(sheet("Sums", calculated))]


def errors_of_newer_programs(folder, expected):
    """Error values that came after the format, in a workbook that does not say where its cells stand."""
    book = openpyxl.Workbook()
    book.active.title = "Errors"
    rows = [["Eggs", "Heads", "Mean"], ["#SPILL!", 4, "#DIV/0!"], [9, "#CALC!", "#FIELD!"], ["#REF!", 1, 2]]
    for row, values in enumerate(rows, 1):
        for column, value in enumerate(values, 1):
            cell = book.active.cell(row, column, value)
            if str(value).startswith("#"):
                cell.data_type = "e"
    book.save(folder / "errors.xlsx")
    seen = [[{"broken": cell} if str(cell).startswith("#") else cell for cell in row] for row in rows]
    expected["errors.xlsx"] = [sheet("Errors", seen)]
    with zipfile.ZipFile(folder / "errors.xlsx") as source, zipfile.ZipFile(folder / "errors-in-order.xlsx", "w") as out:
        for part in source.namelist():
            content = source.read(part)
            if part == "xl/worksheets/sheet1.xml":
                content = re.sub(rb'<(c|row) r="[A-Z0-9]+"', rb"<\1", content)
                assert b' r="' not in content
            out.writestr(part, content)
    expected["errors-in-order.xlsx"] = [sheet("Errors", seen)]


def date_systems(folder, expected):
    serials = [59, 60, 61, 46224, 46224.7520833333, 0.7520833333, 46224]
    formats = ["yyyy-mm-dd"] * 4 + ["yyyy-mm-dd hh:mm", "hh:mm", "General"]
    for system, name in [(None, "dates-1900.xlsx"), (CALENDAR_MAC_1904, "dates-1904.xlsx")]:
        book = openpyxl.Workbook()
        book.active.title = "Days"
        if system:
            book.epoch = system
        for row, (serial, number_format) in enumerate(zip(serials, formats), 1):
            book.active.cell(row, 1, serial).number_format = number_format
        book.save(folder / name)
    day = datetime.date
    expected["dates-1900.xlsx"] = [
        sheet(
            "Days",
            [
                [day(1900, 2, 28)],
                [{"broken": "February 29, 1900 is a day that never was"}],
                [day(1900, 3, 1)],
                [DAY],
                [MOMENT],
                ["18:03:00"],
                [46224],
            ],
        )
    ]
    later = datetime.timedelta(days=1462)  # between the two epochs, January 1, 1904 is day 1462 of the other
    expected["dates-1904.xlsx"] = [
        sheet(
            "Days",
            [
                [day(1904, 2, 29)],
                [day(1904, 3, 1)],
                [day(1904, 3, 2)],
                [DAY + later],
                [MOMENT + later],
                ["18:03:00"],
                [46224],
            ],
        )
    ]
    book = xlwt.Workbook()
    book.dates_1904 = True
    days = book.add_sheet("Days")
    days.write(0, 0, 44762, xlwt.easyxf(num_format_str="yyyy-mm-dd"))
    days.write(1, 0, 44762)
    days.write(2, 0, "2026-07-21")
    book.save(str(folder / "dates-1904-xlwt.xls"))
    expected["dates-1904-xlwt.xls"] = [sheet("Days", [[DAY], [44762], ["2026-07-21"]])]


def of_pandas(folder, expected):
    frame = pandas.DataFrame(
        {
            "Field": ["F-01", "F-02", None],
            "Date": pandas.to_datetime(["2026-07-21", "2026-07-22", None]),
            "Eggs": pandas.array([3, None, 12], dtype="Int64"),
            "Area": [12.5, 0.1, float("nan")],
            "Late": [True, False, True],
        }
    )
    rows = [
        list(frame.columns),
        ["F-01", DAY, 3, 12.5, True],
        ["F-02", DAY + datetime.timedelta(days=1), "", 0.1, False],
        ["", "", 12, "", True],
    ]
    for extension, engine in [("xlsx", "openpyxl"), ("ods", "odf")]:
        frame.to_excel(folder / f"pandas.{extension}", sheet_name="Table", index=False, engine=engine)
        expected[f"pandas.{extension}"] = [sheet("Table", rows)]
    frame.to_parquet(folder / "pandas.parquet", index=False)
    expected["pandas.parquet"] = [sheet("", rows)]


TEXT = [
    ["Field", "Größe (ha)", "Date", "Remark"],
    ["F-01", "12,5", "21.07.2026", "dry; hot"],
    ["F-02", "0,1", "22.07.2026", 'he said "no",\nthen left'],
    [],
    ["F-03", "", "", "– Café ½"],
]


def texts(folder, expected):
    width = len(TEXT[0])
    frame = pandas.DataFrame([row + [""] * (width - len(row)) for row in TEXT[1:]], columns=TEXT[0])
    # pandas writes an empty row as separators; all the same to a reader.
    rows = [TEXT[0], *TEXT[1:3], [], TEXT[4]]
    seen = sheet("", rows)
    for row, number in zip(seen["rows"], [1, 2, 3, 5, 6]):  # the third row has two lines
        row[0] = number
    styles = [
        ("semicolon-1252.csv", ";", "cp1252"),
        ("semicolon-utf8-mark.csv", ";", "utf-8-sig"),
        ("comma-utf16.csv", ",", "utf-16"),
        ("tab-utf16be.csv", "\t", "utf-16-be"),
        ("tab-named.csv", "\t", "utf-8"),
        ("pipe.txt", "|", "utf-8"),
    ]
    for name, separator, encoding in styles:
        text = frame.to_csv(sep=separator, index=False, lineterminator="\r\n")
        mark = "\ufeff" if encoding == "utf-16-be" else ""
        (folder / name).write_bytes((mark + text).encode(encoding))
        expected[name] = [seen]
    (folder / "sep-line.csv").write_bytes(b"sep=;\r\n" + frame.to_csv(sep=";", index=False).encode("cp1252"))
    expected["sep-line.csv"] = [seen]
    # LibreOffice: separator 59 (semicolon), quotation mark 34, character set 76 (UTF-8), then 1 (Windows-1252).
    for name, charset in [("libreoffice-utf8.csv", 76), ("libreoffice-1252.csv", 1)]:
        book = openpyxl.Workbook()
        fill(book.active, TEXT)
        book.save(folder / "text.xlsx")
        convert(folder, "text.xlsx", f"csv:Text - txt - csv (StarCalc):59,34,{charset}", name)
        expected[name] = [seen]
    (folder / "text.xlsx").unlink()


def records(folder):
    """Visit records as nested Parquet and, for comparison, as NDJSON."""
    visits = [
        {
            "schema_version": "1.0",
            "visit_id": f"invented-{number}",
            "revision": 1,
            "observed_on": DAY if number else DAY - datetime.timedelta(days=1),
            "submitted_at": MOMENT.replace(tzinfo=datetime.timezone.utc),
            "observer_id": "obs-0123",
            "field": {"field_id": "F-000123", "lon": -100.12345, "lat": 44.12345, "area_ha": 62.4, "crop_type": "oilseed"},
            "protocol": "bsm-eggs",
            "crop_stage": "R3",
            "economics": {
                "treatment_cost": {"amount": 8.25, "per": "acre", "currency": "USD"},
                "market_value": {"amount": 0.16, "per": "lb", "currency": "USD"},
                "plant_population": {"count": 20000.5, "per": "acre"},
            },
            "sites": [{"site": 1, "heads": [[0, number, 0, 2, 0, 0], [0, 0, 0, 0, 1, 0]]}],
            **({"remarks": "two\nlines"} if number < 2 else {}),
        }
        for number in range(3)
    ]
    table = pyarrow.Table.from_pylist(visits)
    pyarrow.parquet.write_table(table, folder / "visits.parquet", compression="zstd", row_group_size=2)
    as_text = lambda value: value.isoformat().replace("+00:00", "Z")
    lines = [json.dumps(visit, default=as_text) + "\n" for visit in visits]
    (folder / "visits.ndjson").write_text("".join(lines))


def sealed(folder):
    """Workbooks with a password: nothing to expect but a refusal."""
    with open(folder / "three-sheets.xlsx", "rb") as plain, open(folder / "sealed.xlsx", "wb") as out:
        msoffcrypto.format.ooxml.OOXMLFile(plain).encrypt("invented", out)


def convert(folder, source, target, name=None):
    """Lets LibreOffice open a file and save it in another format; the new file's name."""
    extension = target.split(":")[0]
    out = folder / "converted"
    subprocess.run(
        [
            "soffice",
            f"-env:UserInstallation={(folder / 'profile').resolve().as_uri()}",
            "--headless",
            "--convert-to",
            target,
            "--outdir",
            str(out),
            str(folder / source),
        ],
        check=True,
        capture_output=True,
    )
    stem = Path(source).stem
    name = name or f"{stem}-libreoffice.{extension}"
    (out / f"{stem}.{extension}").rename(folder / name)
    return name


def main():
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    expected = {}
    for make in [three_sheets, laid_out_for_people, merged, formulas, errors_of_newer_programs, date_systems, of_pandas, texts]:
        make(folder, expected)
    records(folder)
    sealed(folder)
    (folder / "expected.json").write_text(json.dumps(expected, ensure_ascii=False))


if __name__ == "__main__":
    main()
