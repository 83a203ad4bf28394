"""Grids of cells as files, by other people's programs: csv, openpyxl, xlwt, odfpy, pandas, LibreOffice."""

import csv
import datetime
import io
import subprocess
import tempfile
import zipfile
from pathlib import Path

import odf.opendocument
import odf.table
import odf.text
import openpyxl
import xlwt


def text_of(grid, delimiter=",", newline="\r\n"):
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator=newline).writerows(grid)
    return text.getvalue()


def by_csv(path, grid, delimiter=",", encoding="utf-8", newline="\r\n", first=""):
    Path(path).write_bytes((first + text_of(grid, delimiter, newline)).encode(encoding))


def by_openpyxl(path, grids, style=None, epoch_1904=False):
    """`grids` is a grid or {sheet name: grid}; `style(book)` changes what openpyxl has made."""
    book = openpyxl.Workbook()
    if epoch_1904:
        book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    book.remove(book.active)
    for name, grid in named(grids).items():
        page = book.create_sheet(name)
        for number, row in enumerate(grid, 1):
            for column, value in enumerate(row, 1):
                if value is not None:
                    page.cell(number, column, value)
    if style:
        style(book)
    book.save(path)


def by_xlwt(path, grids):
    book = xlwt.Workbook()
    day = xlwt.easyxf(num_format_str="yyyy-mm-dd")
    for name, grid in named(grids).items():
        page = book.add_sheet(name)
        for number, row in enumerate(grid):
            for column, value in enumerate(row):
                if value is not None:
                    page.write(
                        number, column, value, day if isinstance(value, datetime.date) else xlwt.Style.default_style
                    )
    book.save(str(path))


def by_odfpy(path, grids):
    book = odf.opendocument.OpenDocumentSpreadsheet()
    for name, grid in named(grids).items():
        page = odf.table.Table(name=name)
        for row in grid:
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


def named(grids):
    return grids if isinstance(grids, dict) else {"Visits": grids}


FILTERS = {
    "xlsx": "xlsx:Calc MS Excel 2007 XML",
    "xls": "xls:MS Excel 97",
    "ods": "ods:calc8",
    "csv": "csv:Text - txt - csv (StarCalc):44,34,76,1",
    "pdf": "pdf",
    "docx": "docx",
    "html": "html",
}


def by_libreoffice(source, target):
    """Opens a file and saves it in the form that the target's name ends with."""
    source, target = Path(source), Path(target)
    with tempfile.TemporaryDirectory() as place:
        command = [
            "soffice",
            f"-env:UserInstallation={Path(place, 'profile').as_uri()}",
            "--headless",
            "--convert-to",
            FILTERS[target.suffix[1:]],
            "--outdir",
            place,
            str(source),
        ]
        subprocess.run(command, check=True, capture_output=True)
        target.write_bytes(Path(place, source.stem + target.suffix).read_bytes())


def change_part(path, part, change):
    """Rewrites one part of a workbook, as a program with other habits would have written it."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts[part] = change(parts[part].decode("utf-8")).encode("utf-8")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
