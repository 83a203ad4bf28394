"""Sheets → files, each by somebody else's program: openpyxl, pandas, odfpy, xlwt, Python's csv, LibreOffice."""

import csv
import datetime
import io
import subprocess

import msoffcrypto.format.ooxml
import odf.opendocument
import odf.table
import odf.text
import openpyxl
import openpyxl.comments
import openpyxl.styles
import pandas
import xlwt
from openpyxl.utils import get_column_letter


def grids(sheet):
    return sheet.sheets or {sheet.name: sheet.grid()}


def by_openpyxl(sheet, path):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in grids(sheet).items():
        page = book.create_sheet(name)
        for number, row in enumerate(rows, 1):
            for column, value in enumerate(row, 1):
                if value is not None:
                    page.cell(number, column, value)
    decorate(book, sheet.looks)
    book.save(path)


def decorate(book, looks):
    """What the sheet looks like; places count from 0."""
    page = book.worksheets[0]
    for what, *where in looks:
        if what == "merge":
            first_row, first_column, last_row, last_column = (place + 1 for place in where)
            page.merge_cells(None, first_row, first_column, last_row, last_column)
        elif what == "fill":
            fill = openpyxl.styles.PatternFill("solid", fgColor=where[2])
            page.cell(where[0] + 1, where[1] + 1).fill = fill
        elif what == "comment":
            comment = openpyxl.comments.Comment(where[2], "invented")
            page.cell(where[0] + 1, where[1] + 1).comment = comment
        elif what == "format":
            page.cell(where[0] + 1, where[1] + 1).number_format = where[2]
        elif what == "error":
            cell = page.cell(where[0] + 1, where[1] + 1)
            cell.value, cell.data_type = where[2], "e"
        elif what == "filter":
            page.auto_filter.ref = f"A{where[0] + 1}:{get_column_letter(page.max_column)}{page.max_row}"
        elif what == "hide_row":
            page.row_dimensions[where[0] + 1].hidden = True
        elif what == "hide_column":
            page.column_dimensions[get_column_letter(where[0] + 1)].hidden = True
        elif what == "hide_sheet":
            book[where[0]].sheet_state = "hidden"
        else:
            raise ValueError(what)


def by_pandas(sheet, path):
    """DataFrame.to_excel for .xlsx and .ods, to_csv for the rest."""
    if path.suffix == ".csv":
        frame = pandas.DataFrame(sheet.grid())
        frame.to_csv(path, index=False, header=False, lineterminator="\r\n", date_format="%Y-%m-%d")
        return
    with pandas.ExcelWriter(path, engine="openpyxl" if path.suffix == ".xlsx" else "odf") as writer:
        for name, rows in grids(sheet).items():
            pandas.DataFrame(rows, dtype=object).to_excel(writer, sheet_name=name, index=False, header=False)


def by_odfpy(sheet, path):
    book = odf.opendocument.OpenDocumentSpreadsheet()
    for name, rows in grids(sheet).items():
        page = odf.table.Table(name=name)
        for row in rows:
            line = odf.table.TableRow()
            for value in row:
                line.addElement(odf_cell(value))
            page.addElement(line)
        book.spreadsheet.addElement(page)
    book.save(str(path))


def odf_cell(value):
    if value is None:
        return odf.table.TableCell()
    if isinstance(value, datetime.date):
        return odf.table.TableCell(valuetype="date", datevalue=value.isoformat())
    if isinstance(value, (int, float)):
        return odf.table.TableCell(valuetype="float", value=value)
    cell = odf.table.TableCell(valuetype="string")
    cell.addElement(odf.text.P(text=value))
    return cell


def by_xlwt(sheet, path):
    book = xlwt.Workbook()
    day = xlwt.easyxf(num_format_str="yyyy-mm-dd")
    for name, rows in grids(sheet).items():
        page = book.add_sheet(name)
        merged = {tuple(where[:2]): where for what, *where in sheet.looks if what == "merge"}
        for number, row in enumerate(rows):
            for column, value in enumerate(row):
                if value is None:
                    continue
                style = day if isinstance(value, datetime.date) else xlwt.Style.default_style
                if (number, column) in merged:
                    first_row, first_column, last_row, last_column = merged[number, column]
                    page.write_merge(first_row, last_row, first_column, last_column, value, style)
                else:
                    page.write(number, column, value, style)
    book.save(str(path))


def by_csv(sheet, path, delimiter=",", encoding="utf-8", first_line=""):
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator="\r\n").writerows(sheet.grid())
    path.write_bytes((first_line + text.getvalue()).encode(encoding))


def seal(plain, path):
    with open(plain, "rb") as source, open(path, "wb") as out:
        msoffcrypto.format.ooxml.OOXMLFile(source).encrypt("invented", out)


# What LibreOffice calls the formats; semicolons (59), quotation marks (34), Windows-1252 (1).
FILTERS = {
    "xlsx": "xlsx:Calc MS Excel 2007 XML",
    "xlsm": "xlsm:Calc MS Excel 2007 VBA XML",
    "xls": "xls:MS Excel 97",
    "ods": "ods:calc8",
    "csv": "csv:Text - txt - csv (StarCalc):59,34,1",
}


# How it opens a text file: commas, quotation marks, UTF-8, from row 1, as American English (1033), with an eye for
# numbers and dates in every form.
TEXT_FILTER = "Text - txt - csv (StarCalc):44,34,76,1,,1033,false,true"


def by_libreoffice(sources, extension, folder, profile):
    """Opens all sources, which are of one form, and saves them in another, in one run."""
    opened = [f"--infilter={TEXT_FILTER}"] if sources[0].suffix == ".csv" else []
    subprocess.run(
        [
            "soffice",
            f"-env:UserInstallation={profile.resolve().as_uri()}",
            "--headless",
            *opened,
            "--convert-to",
            FILTERS[extension],
            "--outdir",
            str(folder),
            *map(str, sources),
        ],
        check=True,
        capture_output=True,
    )
