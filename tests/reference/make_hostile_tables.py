"""Files that look like tables and are made to exhaust who reads them.

Usage: make_hostile_tables.py FOLDER

Writes them into FOLDER, and `refusals.json`: for each file a word that its refusal must contain.
"""

import json
import struct
import sys
import zipfile
from pathlib import Path

import openpyxl
import xlwt

TYPES = (
    '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="xml" ContentType="application/xml"/></Types>'
)
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def relationships(*targets):
    items = "".join(
        f'<Relationship Id="r{number}" Type="{OFFICE}/{kind}" Target="{target}"/>'
        for number, (kind, target) in enumerate(targets)
    )
    return f'<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">{items}</Relationships>'


def workbook(sheets=1):
    items = "".join(f'<sheet name="S{number}" sheetId="{number + 1}" r:id="r{number}"/>' for number in range(sheets))
    return f'<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}"><sheets>{items}</sheets></workbook>'


def worksheet(content="", after=""):
    return f'<worksheet xmlns="{MAIN}"><sheetData>{content}</sheetData>{after}</worksheet>'


def xlsx(path, sheet, parts=(), targets=(("worksheet", "worksheets/sheet1.xml"),), sheets=1):
    """A workbook from the texts of its parts; later ones take the place of earlier ones."""
    content = {
        "[Content_Types].xml": TYPES,
        "_rels/.rels": relationships(("officeDocument", "xl/workbook.xml")),
        "xl/_rels/workbook.xml.rels": relationships(*targets),
        "xl/workbook.xml": workbook(sheets),
        "xl/worksheets/sheet1.xml": sheet,
        **dict(parts),
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in content.items():
            with archive.open(name, "w") as part:
                for piece in [text] if isinstance(text, (str, bytes)) else text:
                    part.write(piece.encode() if isinstance(piece, str) else piece)


def large(before, piece, times, after):
    """A text too large to be held at once."""
    yield before
    for _ in range(times):
        yield piece
    yield after


def understate(path, part):
    """Makes an archive declare that a part is small."""
    content = bytearray(path.read_bytes())
    for mark, name_at, size_at in [(b"PK\x03\x04", 30, 22), (b"PK\x01\x02", 46, 24)]:
        at = content.find(mark)
        while content[at + name_at : at + name_at + len(part)] != part.encode():
            at = content.find(mark, at + 1)
        content[at + size_at : at + size_at + 4] = struct.pack("<I", 1000)
    path.write_bytes(content)


def million_entries(path):
    """A directory of a million entries that all name the same part of the archive."""
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("x", "")
    content = path.read_bytes()
    start = content.index(b"PK\x01\x02")
    entry = content[start : content.index(b"PK\x05\x06")]
    count = 1_000_000
    size = count * len(entry)
    end64 = struct.pack("<IQHHIIQQQQ", 0x06064B50, 44, 45, 45, 0, 0, count, count, size, start)
    locator = struct.pack("<IIQI", 0x07064B50, 0, start + size, 1)
    end = struct.pack("<IHHHHIIH", 0x06054B50, 0, 0, 0xFFFF, 0xFFFF, size, start, 0)
    path.write_bytes(content[:start] + entry * count + end64 + locator + end)


def ods(path, rows):
    office = "urn:oasis:names:tc:opendocument:xmlns:office:1.0"
    table = "urn:oasis:names:tc:opendocument:xmlns:table:1.0"
    text = "urn:oasis:names:tc:opendocument:xmlns:text:1.0"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet", zipfile.ZIP_STORED)
        archive.writestr(
            "META-INF/manifest.xml",
            '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>',
        )
        archive.writestr(
            "content.xml",
            f'<office:document-content xmlns:office="{office}" xmlns:table="{table}" xmlns:text="{text}">'
            f'<office:body><office:spreadsheet><table:table table:name="S">{rows}',
        )


ODS_END = "</table:table></office:spreadsheet></office:body></office:document-content>"


def cell_xml(reference):
    return f'<row r="{reference.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")}"><c r="{reference}"><v>1</v></c></row>'


def make(folder):
    refusals = {}

    def path(name, word):
        refusals[name] = word
        return folder / name

    book = openpyxl.Workbook()
    book.active["A1"] = 1
    book.active["XFD1048576"] = 1
    book.save(path("far-cell.xlsx", "cells"))
    xlsx(path("far-row.xlsx", "rows"), worksheet(cell_xml("A1048576")))
    far = "a range that no sheet has"
    xlsx(path("row-that-comes-round.xlsx", far), worksheet(cell_xml("A4294967298")))
    xlsx(path("column-that-comes-round.xlsx", far), worksheet(cell_xml("CYEUQBCD1")))
    backwards = '<mergeCells><mergeCell ref="A6:A4"/></mergeCells>'
    xlsx(path("merged-backwards.xlsx", far), worksheet(cell_xml("A1"), backwards))
    scattered = "".join(f'<row r="{row}"><c r="BXX{row}"><v>1</v></c></row>' for row in range(1, 3000))
    xlsx(path("scattered.xlsx", "more than is read"), worksheet(scattered))

    comment = large(f'<worksheet xmlns="{MAIN}"><!--', "x" * (1 << 20), 400, "--><sheetData/></worksheet>")
    xlsx(path("comment-400-mib.xlsx", "unpack"), comment)
    comment = large(f'<worksheet xmlns="{MAIN}"><!--', "x" * (1 << 20), 60, "--><sheetData/></worksheet>")
    xlsx(path("comment-60-mib.xlsx", "comment"), comment)
    bomb = lambda: large("", b"\0" * (1 << 20), 500, "")
    xlsx(path("bomb.xlsx", "unpack"), worksheet(), {"xl/sharedStrings.xml": bomb()})
    many = {f"xl/media/image{number}.png": large("", b"\0" * (1 << 20), 20, "") for number in range(10)}
    xlsx(path("bomb-of-many.xlsx", "unpack"), worksheet(), many)
    lying = path("lying-bomb.xlsx", "declared")
    rows = large(f'<worksheet xmlns="{MAIN}"><sheetData>', "<row/>" * 100_000, 80, "</sheetData></worksheet>")
    xlsx(lying, rows)
    understate(lying, "xl/worksheets/sheet1.xml")
    with zipfile.ZipFile(path("nested.zip", "no workbook"), "w", zipfile.ZIP_DEFLATED) as archive:
        archive.write(folder / "bomb.xlsx", "inner.zip")
    million_entries(path("million-entries.zip", "parts"))

    laughs = "".join(f'<!ENTITY l{depth} "{f"&l{depth - 1};" * 10}">' for depth in range(1, 10))
    strings = f'<!DOCTYPE sst [<!ENTITY l0 "lol">{laughs}]><sst xmlns="{MAIN}"><si><t>&l9;</t></si></sst>'
    xlsx(path("billion-laughs.xlsx", "document type"), worksheet(), {"xl/sharedStrings.xml": strings})
    outside = f'<!DOCTYPE sst SYSTEM "file:///etc/passwd"><sst xmlns="{MAIN}"/>'
    xlsx(path("outside-entity.xlsx", "document type"), worksheet(), {"xl/sharedStrings.xml": outside})
    claims = f'<sst xmlns="{MAIN}" count="1" uniqueCount="99999999999"><si><t>a</t></si></sst>'
    xlsx(path("claimed-texts.xlsx", "claims"), worksheet(), {"xl/sharedStrings.xml": claims})
    text = f'<sst xmlns="{MAIN}"><si><t>{"x" * 1_000_000}</t></si></sst>'
    same = "".join(f'<row><c t="s"><v>0</v></c></row>' for _ in range(100_000))
    xlsx(path("one-text-everywhere.xlsx", "more than is read"), worksheet(same), {"xl/sharedStrings.xml": text})
    deep = "<x>" * 100_000
    xlsx(path("deep.xlsx", "deep"), worksheet(after=deep))

    book = openpyxl.Workbook()
    merges = "".join(f'<mergeCell ref="A{row}:B{row}"/>' for row in range(1, 65_001))
    xlsx(path("merges-65000.xlsx", "merged ranges"), worksheet(after=f"<mergeCells>{merges}</mergeCells>"))
    rows = "".join(f'<row r="{row}"><c r="A{row}"><v>1</v></c></row>' for row in range(1, 2001))
    merges = '<mergeCell ref="A1:XFD1048576"/>' * 9_999
    xlsx(path("merges-over-each-other.xlsx", "merged ranges"), worksheet(rows, f"<mergeCells>{merges}</mergeCells>"))
    styles = f'<styleSheet xmlns="{MAIN}"><cellXfs>{"<xf/>" * 1_000_000}</cellXfs></styleSheet>'
    xlsx(path("styles-million.xlsx", "formats"), worksheet(), {"xl/styles.xml": styles})
    font = f'<fonts><font><name val="{"x" * 60_000}"/></font></fonts>'
    styles = f'<styleSheet xmlns="{MAIN}">{font}<cellXfs>{"<xf fontId=%s0%s/>" % (chr(34), chr(34)) * 60_000}</cellXfs></styleSheet>'
    xlsx(path("style-names.xlsx", "style"), worksheet(), {"xl/styles.xml": styles})
    targets = [("worksheet", "worksheets/sheet1.xml")] * 500
    xlsx(path("one-part-500-sheets.xlsx", "same part"), worksheet(cell_xml("A1")), targets=targets, sheets=500)
    hidden = [("worksheet", "media/image.png")]
    xlsx(path("sheet-in-a-picture.xlsx", "named .xml"), "", {"xl/media/image.png": worksheet()}, hidden)
    cells = large(f'<worksheet xmlns="{MAIN}"><sheetData><row>', "<c/>" * 100_000, 25, "</row></sheetData></worksheet>")
    xlsx(path("empty-cells.xlsx", "cells"), cells)

    filled = '<table:table-cell office:value-type="float" office:value="1" table:number-columns-repeated="%d"/>'
    row = '<table:table-row table:number-rows-repeated="%d">%s</table:table-row>'
    ods(path("repeated-cells.ods", "cells"), (row % (1, filled % 16_384)) * 1_000 + ODS_END)
    ods(path("repeated-rows.ods", "rows"), row % (1_048_576, filled % 1) + ODS_END)
    ods(path("rectangle.ods", "cells"), row % (2_000, filled % 1) + row % (1, filled % 1_999) + ODS_END)
    spaces = '<table:table-cell office:value-type="string"><text:p><text:s text:c="4000000000"/></text:p></table:table-cell>'
    ods(path("spaces.ods", "bytes in its cells"), row % (1, spaces) + ODS_END)
    ods(path("breaks-off.ods", "breaks off"), row % (1, filled % 1))

    book = xlwt.Workbook()
    sheet = book.add_sheet("S")
    sheet.write(0, 0, 1)
    sheet.write(65_535, 255, 1)
    book.save(str(path("far-cell.xls", "cells")))
    content = bytearray((folder / "far-cell.xls").read_bytes())
    table = 512 * (struct.unpack_from("<I", content, 76)[0] + 1)
    first = struct.unpack_from("<I", content, 48)[0]
    struct.pack_into("<I", content, table + 4 * first, first)
    path("circle.xls", "circle").write_bytes(content)

    with open(path("open-quote.csv", "bytes"), "w") as out:
        out.write('Field,Eggs\nA,3\nB,"')
        out.writelines("1,2,3,4\n" * 100_000 for _ in range(60))
    with open(path("too-large.csv", "64 MiB"), "w") as out:
        out.write("Field,Eggs\nA,3\n")
        out.writelines("A,3\n" * 1_000_000 for _ in range(20))
    path("cells.csv", "more than").write_text("1,2,3\n" * 700_000)
    path("wide.csv", "cells").write_text("1,2\n1,2\n" + "1," * 3_000 + "1\n")
    (folder / "refusals.json").write_text(json.dumps(refusals))


if __name__ == "__main__":
    target = Path(sys.argv[1])
    target.mkdir(parents=True, exist_ok=True)
    make(target)
