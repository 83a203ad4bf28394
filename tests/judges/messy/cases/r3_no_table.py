"""R3: a mapping is given, and the file is no table that it could read."""

import email.message
import zipfile
from pathlib import Path

import openpyxl

import mapping as mappings
import writers
from case import Bad, Case
from kit import load
from sheet import Sheet
from visits import visits

# A document of a word processor, as its package names it.
PACKAGE = "http://schemas.openxmlformats.org/package/2006"
WORD = "http://schemas.openxmlformats.org/wordprocessingml/2006/main"
WORD_TYPE = "application/vnd.openxmlformats-officedocument.wordprocessingml.document.main+xml"
WORD_PART = f'<Override PartName="/word/document.xml" ContentType="{WORD_TYPE}"/>'


def cases():
    return [
        refused(
            "header-only",
            "sheet.csv",
            header_only,
            ["no row", "no data", "only", "header", "empty"],
            "only the header was sent",
        ),
        refused(
            "header-only-xlsx",
            "sheet.xlsx",
            header_only_book,
            ["no row", "no data", "only", "header", "empty"],
            "a workbook with only the header",
        ),
        refused("pdf-as-xlsx", "sheet.xlsx", pdf, ["PDF"], "a PDF under the name of a workbook"),
        refused("html-as-xls", "sheet.xls", html, ["HTML", "web page"], "a web page under the name of a workbook"),
        refused(
            "mail-text",
            "mail.txt",
            mail_text,
            ["not a table", "no table", "text"],
            "the table as aligned text of a mail",
        ),
        refused("empty", "sheet.csv", lambda path, grid: path.write_bytes(b""), ["empty"], "an empty file"),
        refused(
            "blank-lines",
            "sheet.csv",
            lambda path, grid: path.write_bytes(b"\r\n\r\n,,,\r\n"),
            ["empty", "no row", "no data", "blank"],
            "a file of blank lines",
        ),
        refused(
            "empty-workbook",
            "sheet.xlsx",
            lambda path, grid: openpyxl.Workbook().save(path),
            ["empty", "no row", "no data", "no sheet"],
            "an empty workbook",
        ),
        mail("mail-attached", "sheet.csv", "a mail with the sheet attached"),
        mail("mail-workbook", "sheet.xlsx", "a mail with the workbook attached"),
        refused("mail-without", "mail.eml", mail_without, ["mail", "attach"], "a mail without an attachment"),
        refused("docx", "sheet.docx", docx, ["Word", "document", "docx"], "a document of a word processor"),
        refused(
            "jpeg",
            "sheet.csv",
            lambda path, grid: path.write_bytes(b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(range(256)) * 8),
            ["picture", "image", "JPEG", "photo"],
            "a photo under the name of a table",
        ),
        refused(
            "rtf",
            "sheet.csv",
            lambda path, grid: path.write_text(
                "{\\rtf1\\ansi Field\\tab Date\\par F-101\\tab 7/20/2026\\par}", "utf-8"
            ),
            ["rtf", "rich text", "not a table", "no table"],
            "rich text",
        ),
        refused(
            "shortcut",
            "sheet.csv",
            lambda path, grid: path.write_text("[InternetShortcut]\r\nURL=https://example.invalid/sheet\r\n", "utf-8"),
            ["shortcut", "link", "not a table", "no table", "header"],
            "a link to a sheet instead of the sheet",
        ),
        refused(
            "torn-workbook",
            "sheet.xlsx",
            torn,
            ["workbook", "archive", "torn", "cut", "incomplete", "damaged", "zip"],
            "a workbook torn in the middle",
        ),
        refused(
            "nulls",
            "sheet.csv",
            lambda path, grid: path.write_bytes(bytes(4096)),
            ["zero", "NUL", "empty", "no table", "not a table", "binary", "text"],
            "a file of zero bytes, as a failed disk leaves",
        ),
        read("csv-as-xlsx", "sheet.xlsx", writers.by_csv, "a CSV under the name of a workbook"),
        read("xlsx-as-csv", "sheet.csv", writers.by_openpyxl, "a workbook under the name of a CSV"),
        read("xlsx-as-xls", "sheet.xls", writers.by_openpyxl, "a new workbook under an old name"),
        read("ods-as-xlsx", "sheet.xlsx", writers.by_odfpy, "an open document under the name of a workbook"),
        read("txt-tabs", "sheet.txt", lambda path, grid: writers.by_csv(path, grid, "\t"), "tabs in a .txt"),
    ]


def case(id, story, name, write, truth, bad, steps=None):
    sheet = Sheet(visits())

    def make(folder):
        write(folder / name, sheet.grid())
        Path(folder, "sheet.toml").write_text(mappings.mapping(sheet), "utf-8")

    return Case(f"R3-{id}", story, make, steps or [load(name)], truth, bad, [], [], 0)


def refused(id, name, write, words, story):
    return case(id, story, name, write, [], [Bad("file", [name], None, words)])


def read(id, name, write, story):
    return case(id, story, name, write, visits(), [])


def header_only(path, grid):
    writers.by_csv(path, grid[:1])


def header_only_book(path, grid):
    writers.by_openpyxl(path, grid[:1])


def pdf(path, grid):
    source = path.with_name("source.csv")
    writers.by_csv(source, grid)
    target = path.with_name("source.pdf")
    writers.by_libreoffice(source, target)
    path.write_bytes(target.read_bytes())
    source.unlink(), target.unlink()


def html(path, grid):
    rows = "".join(f"<tr>{''.join(f'<td>{value}</td>' for value in row)}</tr>\n" for row in grid)
    path.write_text(f"<html><head><meta charset=utf-8></head><body><table>\n{rows}</table></body></html>", "utf-8")


def mail_text(path, grid):
    lines = ["Hello, here are our counts of last week:", ""]
    lines += ["  ".join(str(value).ljust(12) for value in row[:11]) for row in grid]
    path.write_text("\n".join(lines) + "\n", "utf-8")


def message():
    mail = email.message.EmailMessage()
    mail["From"], mail["To"] = "Scout <scout@office.example>", "survey@office.example"
    mail["Subject"] = "Counts of week 30"
    mail["Date"] = "Mon, 10 Aug 2026 12:00:00 +0000"
    mail.set_content("Please find our counts attached.\n")
    return mail


def mail_without(path, grid):
    path.write_bytes(bytes(message()))


def mail(id, name, story):
    def write(path, grid):
        attached = path.with_name(f"attached-{name}")
        (writers.by_csv if name.endswith("csv") else writers.by_openpyxl)(attached, grid)
        kind = (
            ("text", "csv")
            if name.endswith("csv")
            else ("application", "vnd.openxmlformats-officedocument.spreadsheetml.sheet")
        )
        post = message()
        post.add_attachment(attached.read_bytes(), maintype=kind[0], subtype=kind[1], filename=name)
        path.write_bytes(bytes(post))
        attached.unlink()

    made = case(id, story, "mail.eml", write, visits(), [])
    made.way = ["attach"]
    return made


def docx(path, grid):
    """A document of a word processor, written part by part."""
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("[Content_Types].xml", f'<Types xmlns="{PACKAGE}/content-types">{WORD_PART}</Types>')
        archive.writestr(
            "word/document.xml", f'<document xmlns="{WORD}"><body><p><r><t>F-101</t></r></p></body></document>'
        )


def torn(path, grid):
    writers.by_openpyxl(path, grid)
    path.write_bytes(path.read_bytes()[:2500])
