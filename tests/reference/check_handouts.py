"""Opens the files of an alert to paste and to send with programs that share no code with ours, and says what they found.

check_handouts.py FOLDER

FOLDER holds an alert: alert.html, alert.pdf, county_week.csv, email.html, map.png, map.svg, short.txt. poppler reads the PDF,
html5lib the e-mail (it stops at the first thing that is no HTML), Pillow the picture, gsm0338 the short text. Any difference
ends the program with a message and a code other than 0. Prints JSON: pages, colors of the picture, room of the short text.
"""

import json
import re
import subprocess
import sys
import xml.etree.ElementTree
from html.parser import HTMLParser
from pathlib import Path

import gsm0338
import html5lib
import pandas
from PIL import Image


def said_by(*command):
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def one_spaced(text):
    return " ".join(text.split())


class Page(HTMLParser):
    """The headline, the titles of the cautions and the cells of the county table of an alert's page."""

    def __init__(self, text):
        super().__init__()
        self.headline, self.titles, self.rows = "", [], []
        self.open = []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        names = dict(attributes)
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th") and self.rows:
            self.rows[-1].append("")
        self.open.append((tag, names.get("class") or ""))

    def handle_endtag(self, tag):
        while self.open and self.open.pop()[0] != tag:
            pass

    def handle_data(self, data):
        tags = [tag for tag, _ in self.open]
        if "h1" in tags:
            self.headline += data
        if tags[-1:] == ["strong"] and "li" in tags and ("ul", "cautions") in self.open:
            self.titles.append(data)
        if ("td" in tags or "th" in tags) and self.rows and self.rows[-1]:
            self.rows[-1][-1] += data


def check_pdf(folder, page, rows):
    path = str(folder / "alert.pdf")
    facts = dict(line.split(":", 1) for line in said_by("pdfinfo", path).splitlines() if ":" in line)
    assert facts["Tagged"].strip() == "yes" and facts["JavaScript"].strip() == "no", facts
    assert page.headline in facts["Title"], facts
    fonts = said_by("pdffonts", path).splitlines()[2:]
    assert len(fonts) == 2, fonts
    for font in fonts:
        # name, type, encoding, then: embedded, a part of the font, with a table of Unicode.
        assert re.search(r"\byes yes yes\b", font), font
    words = one_spaced(said_by("pdftotext", "-raw", path, "-"))
    check_words("alert.pdf", words, page, rows)
    structure = said_by("pdfinfo", "-struct", path)
    for part in ("H1", "H2", "Figure", "Table", "TH", "LI"):
        assert re.search(rf"\b{part}\b", structure), part
    return int(facts["Pages"])


def check_words(name, words, page, rows):
    for said in [page.headline, *page.titles]:
        assert one_spaced(said) in words, f"{name}: {said}"
    assert len(page.titles) > 8, page.titles
    for row in rows:
        assert one_spaced(" ".join(row)) in words, f"{name}: {row}"


def check_email(folder, page, rows):
    text = (folder / "email.html").read_text("utf-8")
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)
    tags = {element.tag for element in tree.iter()}
    assert not tags & {"script", "style", "img", "link", "iframe", "form"}, tags
    assert len(text.encode()) < 100_000
    for element in tree.iter("td"):
        element.tail = " " + (element.tail or "")
    for element in tree.iter():
        if element.tag not in ("strong",):
            element.tail = " " + (element.tail or "")
    check_words("email.html", one_spaced("".join(tree.itertext())), page, rows)


def check_picture(folder):
    picture = Image.open(folder / "map.png")
    assert picture.format == "PNG" and picture.mode == "RGB" and picture.width == 1200, picture
    colors = picture.getcolors(picture.width * picture.height)
    assert len(colors) > 20, "the picture is blank"
    xml.etree.ElementTree.parse(folder / "map.svg")
    # Classes that counties have: the share of the pixels of each color that is no edge.
    return ["#%02x%02x%02x" % color for count, color in sorted(colors, reverse=True) if count > 400]


def check_short(folder):
    text = (folder / "short.txt").read_text("utf-8").removesuffix("\n")
    codec = gsm0338.Codec()
    room = len(codec.encode(text)[0])
    assert room <= 300, room
    assert codec.decode(codec.encode(text)[0])[0] == text
    return room


def main():
    folder = Path(sys.argv[1])
    page = Page((folder / "alert.html").read_text("utf-8"))
    table = pandas.read_csv(folder / "county_week.csv", dtype=str, keep_default_na=False)
    names = set(table.loc[table["fields_visited"] != "0", "county_name"])
    # Of a row of the page the name, the fields, those at threshold, and the interval.
    cells = [[one_spaced(cell) for cell in row] for row in page.rows]
    rows = [row[:4] for row in cells if row and row[0] in names]
    assert len(rows) == len(names) > 0, (len(rows), len(names))
    pages = check_pdf(folder, page, rows)
    check_email(folder, page, rows)
    print(json.dumps({"pages": pages, "colors": check_picture(folder), "room": check_short(folder)}))


main()
