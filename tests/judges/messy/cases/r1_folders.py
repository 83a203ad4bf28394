"""R1: folders as offices keep them: mappings next to sheets, subfolders, several senders, junk, bad files."""

import zipfile
from pathlib import Path

import mapping as mappings
import records
import writers
from case import Bad, Case
from kit import HANDED_IN
from sheet import Sheet
from visits import visits

# As the worked examples have it: the mapping says when its sheets were handed in.
FIXED = {"/submitted_at": '"2026-08-10T12:00:00Z"'}


def cases():
    return [
        case("mapping-alongside", "records, a sheet, and the sheet's mapping next to it", mapping_alongside, visits(4)),
        case("two-senders", "two senders' sheets with other headers, each with its mapping", two_senders, visits(4)),
        case("subfolders", "a subfolder for each office, each with sheet and mapping", subfolders, visits(4)),
        case("deep-subfolders", "subfolders by year and week with records", deep_subfolders, visits(4)),
        case("one-mapping-a-folder", "two weeks of one sender, and one mapping for the folder", one_mapping, visits(4)),
        case(
            "mapping-given",
            "a folder of one sender's sheets, its mapping named on the command line",
            one_mapping,
            visits(4),
            ["--mapping", "inbox/north.toml"],
        ),
        case(
            "password-between",
            "records, a workbook with a password, records",
            password_between,
            visits(4),
            bad=[Bad("file", ["b.xlsx"], None, ["password"])],
        ),
        case(
            "torn-between",
            "records, a workbook torn in the middle, records",
            torn_between,
            visits(4),
            bad=[Bad("file", ["b.xlsx"], None, ["workbook", "archive", "torn", "cut", "incomplete", "damaged", "zip"])],
        ),
        case("junk", "lock files, Thumbs.db, desktop.ini, .DS_Store next to records", junk, visits(2)),
        case("notes", "a README, a photo and a letter next to records", notes, visits(2)),
        case("apple-junk", "__MACOSX and ._ files of an unpacked archive", apple_junk, visits(2)),
        case("zip-of-sheets", "an archive of a sheet and its mapping", zip_of_sheets, visits(2), name="inbox.zip"),
        case("zip-in-folder", "an archive within the folder", zip_in_folder, visits(4)),
        case(
            "no-mapping-for-one",
            "one sheet without a mapping between two with theirs",
            no_mapping_for_one,
            visits(4),
            bad=[Bad("file", ["orphan.csv"], None, ["mapping"])],
        ),
        case("copy-of-a-sheet", "the same sheet twice, as 'sheet (1).csv'", copy_of_a_sheet, visits(2)),
        case("old-exports", "a folder of held letters left in the inbox", old_readme, visits(2)),
        case(
            "handed-in-named",
            "two senders' sheets, the hand-in named on the command line",
            two_senders_open,
            visits(4),
            HANDED_IN,
        ),
        checked_first(),
    ]


def case(id, story, fill, truth, more=(), bad=(), name="inbox"):
    def make(folder):
        inbox = folder / "inbox"
        inbox.mkdir()
        fill(inbox)

    return Case(f"R1-{id}", story, make, [["load", name, *more]], truth, list(bad), [], [], 0)


def put_sheet(folder, stem, visits_of, rename=True, map_name=None, with_mapping=True, constant=FIXED):
    folder.mkdir(parents=True, exist_ok=True)
    sheet = Sheet(visits_of)
    if rename:
        sheet.rename("field", f"Field of {stem}").rename("date", "Day")
    writers.by_csv(folder / f"{stem}.csv", sheet.grid())
    if with_mapping:
        Path(folder, f"{map_name or stem}.toml").write_text(
            mappings.mapping(sheet, prefix=stem, constant=constant), "utf-8"
        )


def mapping_alongside(inbox):
    truth = visits(4)
    records.ndjson(inbox / "app.ndjson", truth[:2])
    put_sheet(inbox, "north", truth[2:])


def two_senders(inbox):
    truth = visits(4)
    put_sheet(inbox, "north", truth[:2])
    put_sheet(inbox, "south", truth[2:])


def two_senders_open(inbox):
    truth = visits(4)
    put_sheet(inbox, "north", truth[:2], constant=None)
    put_sheet(inbox, "south", truth[2:], constant=None)


def subfolders(inbox):
    truth = visits(4)
    put_sheet(inbox / "north", "north", truth[:2])
    put_sheet(inbox / "south", "south", truth[2:])


def deep_subfolders(inbox):
    truth = visits(4)
    for week, part in (("W30", truth[:2]), ("W31", truth[2:])):
        (inbox / "2026" / week).mkdir(parents=True)
        records.ndjson(inbox / "2026" / week / "app.ndjson", part, week)


def one_mapping(inbox):
    truth = visits(4)
    put_sheet(inbox, "week30", truth[:2], rename=False, with_mapping=False)
    put_sheet(inbox, "week31", truth[2:], rename=False, map_name="north")


def password_between(inbox):
    truth = visits(4)
    records.ndjson(inbox / "a.ndjson", truth[:2], "a")
    records.ndjson(inbox / "c.ndjson", truth[2:], "c")
    import msoffcrypto.format.ooxml

    writers.by_openpyxl(inbox / "plain.xlsx", Sheet(truth[:1]).grid())
    with open(inbox / "plain.xlsx", "rb") as source, open(inbox / "b.xlsx", "wb") as out:
        msoffcrypto.format.ooxml.OOXMLFile(source).encrypt("invented", out)
    (inbox / "plain.xlsx").unlink()


def torn_between(inbox):
    truth = visits(4)
    records.ndjson(inbox / "a.ndjson", truth[:2], "a")
    records.ndjson(inbox / "c.ndjson", truth[2:], "c")
    writers.by_openpyxl(inbox / "b.xlsx", Sheet(truth[:1]).grid())
    Path(inbox, "b.xlsx").write_bytes(Path(inbox, "b.xlsx").read_bytes()[:2500])


def junk(inbox):
    records.ndjson(inbox / "app.ndjson", visits(2))
    Path(inbox, "~$count.xlsx").write_bytes(
        b"\x05Scout" + b" " * 49 + b"\x05\x00S\x00c\x00o\x00u\x00t\x00" + b" \x00" * 50
    )
    Path(inbox, ".~lock.count.ods#").write_text(",scout,office,30.11.2026 14:00,file:///invented;", "utf-8")
    Path(inbox, "Thumbs.db").write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(504))
    Path(inbox, "desktop.ini").write_bytes(
        "\ufeff[.ShellClassInfo]\r\nIconResource=folder.dll,3\r\n".encode("utf-16-le")
    )
    Path(inbox, ".DS_Store").write_bytes(b"\x00\x00\x00\x01Bud1" + bytes(100))


def notes(inbox):
    records.ndjson(inbox / "app.ndjson", visits(2))
    Path(inbox, "README.txt").write_text("Sheets of the north office.\nAsk Invented Person about week 30.\n", "utf-8")
    Path(inbox, "field.jpg").write_bytes(b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(range(256)) * 8)
    Path(inbox, "letter.pdf").write_bytes(b"%PDF-1.4\n1 0 obj\n<< /Type /Catalog >>\nendobj\n%%EOF\n")


def apple_junk(inbox):
    records.ndjson(inbox / "app.ndjson", visits(2))
    (inbox / "__MACOSX").mkdir()
    for place in (inbox / "__MACOSX" / "._app.ndjson", inbox / "._app.ndjson"):
        place.write_bytes(b"\x00\x05\x16\x07\x00\x02\x00\x00Mac OS X        " + bytes(80))


def zip_of_sheets(inbox):
    put_sheet(inbox, "north", visits(2))
    pack(inbox, inbox.parent / "inbox.zip")


def zip_in_folder(inbox):
    truth = visits(4)
    records.ndjson(inbox / "app.ndjson", truth[:2])
    inner = inbox.parent / "inner"
    put_sheet(inner, "north", truth[2:])
    pack(inner, inbox / "north.zip")


def pack(folder, target):
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(folder.iterdir()):
            archive.write(path, path.name)


def no_mapping_for_one(inbox):
    truth = visits(6)
    put_sheet(inbox, "north", truth[:2])
    put_sheet(inbox, "orphan", truth[4:], with_mapping=False)
    put_sheet(inbox, "south", truth[2:4])


def copy_of_a_sheet(inbox):
    put_sheet(inbox, "north", visits(2))
    Path(inbox, "north (1).csv").write_bytes(Path(inbox, "north.csv").read_bytes())


def old_readme(inbox):
    records.ndjson(inbox / "app.ndjson", visits(2))
    (inbox / "old").mkdir()
    Path(inbox, "old", "empty.csv").write_bytes(b"")


def checked_first():
    """`check` names every bad file of a folder at once."""
    truth = visits(4)

    def make(folder):
        inbox = folder / "inbox"
        inbox.mkdir()
        password_between(inbox)
        Path(inbox, "d.xlsx").write_bytes(Path(inbox, "b.xlsx").read_bytes())

    bad = [Bad("file", [name], None, ["password"]) for name in ("b.xlsx", "d.xlsx")]
    return Case(
        "R1-check-names-all",
        "check of a folder with two bad files names both, then load",
        make,
        [["check", "inbox"], ["load", "inbox"]],
        truth,
        bad,
        [],
        [],
        0,
    )
