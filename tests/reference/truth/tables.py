"""Distortions of whole tables: how columns, headers, rows, sheets and files are laid out; by number in the list of 21.

Each function bends a `BentSheet` and the mapping with it, and says what must be held or refused for it: where the
mapping cannot settle a distortion, the message must name it.
"""

import datetime

from bent_sheet import distortion

# --- 1: what repeats stands side by side ---------------------------------------------------------


@distortion(1)
def wide_repeats(sheet, words=False):
    """A column a bract; with words: Site 1, head 2, bract 3."""
    if words:
        for key in sheet.counts():
            sheet.headers[key] = f"Site {key[1]}, head {key[3]}, bract {key[5]}"
        pattern = "^Site (?<site>[0-9]), head (?<head>[0-9]), bract (?<bract>[0-9])$"
        sheet.fields["counts"]["namePattern"] = pattern


@distortion(1)
def days_as_columns(sheet):
    """One column a week: no mapping has a place for them."""
    for week in range(1, 4):
        day = datetime.date(2026, 7, 20) + datetime.timedelta(weeks=week)
        sheet.add(f"week{week}", day, None)
        for place, row in enumerate(sheet.rows):
            row[f"week{week}"] = place % 5
    sheet.refused = ["2026-08-03", "headers are dates or weeks", "a column of its own"]


# --- 2: headers of two and three rows ------------------------------------------------------------


@distortion(2)
def header_of_two_rows(sheet, tall=False):
    """Site 1 | Site 2 over Side, H1B1 …; tall: other headers are merged downwards."""
    upper = [None] * len(sheet.columns)
    for place, key in enumerate(sheet.columns):
        if key.startswith("side"):
            upper[place] = f"Site {key[4]}"
            sheet.headers[key] = "Side"
        elif key in sheet.counts():
            sheet.headers[key] = key[2:]
    for site in (1, 2):
        first = sheet.columns.index(f"side{site}")
        sheet.looks.append(("merge", len(sheet.above), first, len(sheet.above), first + 12))
    sheet.upper = [upper]
    if tall:
        for place, key in enumerate(sheet.columns):
            if key in sheet.fields:
                upper[place], sheet.fields[key]["name"] = sheet.headers[key], sheet.headers[key]
                sheet.headers[key] = None
                sheet.looks.append(("merge", len(sheet.above), place, len(sheet.above) + 1, place))
    sheet.dialect["headerJoin"] = " / "
    sheet.fields["sides"]["namePattern"] = "^Site (?<site>[0-9]) / Side$"
    sheet.fields["counts"]["namePattern"] = "^Site (?<site>[0-9]) / H(?<head>[0-9])B(?<bract>[0-9])$"


@distortion(2)
def header_of_three_rows(sheet):
    """Site over head over bract."""
    top, middle = [None] * len(sheet.columns), [None] * len(sheet.columns)
    for place, key in enumerate(sheet.columns):
        if key.startswith("side"):
            top[place], sheet.headers[key] = f"Site {key[4]}", "Side"
            sheet.looks.append(("merge", len(sheet.above), place, len(sheet.above), place + 12))
        elif key in sheet.counts():
            sheet.headers[key] = f"Bract {key[5]}"
            if key[5] == "1":
                middle[place] = f"Head {key[3]}"
                sheet.looks.append(("merge", len(sheet.above) + 1, place, len(sheet.above) + 1, place + 5))
    sheet.upper = [top, middle]
    sheet.dialect["headerJoin"] = " / "
    sheet.fields["sides"]["namePattern"] = "^Site (?<site>[0-9]) / Side$"
    sheet.fields["counts"]["namePattern"] = "^Site (?<site>[0-9]) / Head (?<head>[0-9]) / Bract (?<bract>[0-9])$"


# --- 3, 4, 5: what stands about the table, and tables beside tables ---------------------------------


@distortion(3)
def title_above(sheet):
    sheet.above = [["Invented egg counts"], ["One row a line. Leave no cell blank, please."], []]


@distortion(4)
def totals_and_spacers(sheet, header_every=11):
    """Totals and averages under each visit, blank rows, and the header again on every page."""
    rows, header = [], [sheet.headers[key] for key in sheet.columns]
    of_counts = [sheet.columns.index(key) for key in sheet.counts()]
    for place, row in enumerate(sheet.rows):
        rows.append(row)
        following = sheet.rows[place + 1 : place + 2]
        if not following or following[0]["_visit"] != row["_visit"]:
            for name in ("Total", "Average, all heads"):
                line = [name] + [None] * (len(sheet.columns) - 1)
                for column in of_counts:
                    line[column] = 3
                rows.append({"_raw": line})
            rows.append({"_raw": []})
        if place % header_every == header_every - 1:
            rows.append({"_raw": header})
    sheet.rows = rows
    sheet.skips.append({"name": sheet.headers[sheet.columns[0]], "matches": "^(Total|Average)"})


def by(sheet, key):
    """Rows by what a column says, in the order in which it first says so."""
    groups = {}
    for row in sheet.rows:
        groups.setdefault(row[key], []).append(row)
    return groups


@distortion(5)
def sheet_for_each(sheet, key, name):
    """One sheet a county or a farm, which its name alone says."""
    groups = by(sheet, key)
    field = sheet.drop(key)
    header = [sheet.headers[column] for column in sheet.columns]
    sheet.sheets = {f"{name} {value}": [header] + sheet.body(rows) for value, rows in groups.items()}
    sheet.dialect["sheetPattern"] = f"^{name} (?<{name}>.+)$"
    sheet.fields[key] = {**field, "name": name}


@distortion(5)
def tables_below_each_other(sheet):
    """One table a county under a title that names it, each with its own header."""
    groups = by(sheet, "county")
    field = sheet.drop("county")
    header = [sheet.headers[column] for column in sheet.columns]
    rows = []
    for value, of_county in groups.items():
        rows += [{"_raw": []}, {"_raw": [f"County {value}"]}, {"_raw": header}, *of_county]
    sheet.above = [[f"County {next(iter(groups))}"]]
    sheet.rows = rows[3:]
    sheet.blocks.append({"matches": "^County (?<County>[0-9]+)$"})
    sheet.fields["county"] = {**field, "name": "County"}


@distortion(5)
def another_table_beside(sheet):
    """A list of scouts to the right of the visits, of which the mapping knows nothing."""
    sheet.add("gap", None, None)
    sheet.add("scouts", "Scouts of the season", None)
    for place, row in enumerate(sheet.rows[:3]):
        row["scouts"] = f"obs-900{place}"
    sheet.refused = ["Scouts of the season", "does not mention"]


# --- 6: values that hold for the rows below them ----------------------------------------------------


@distortion(6)
def county_merged_down(sheet):
    """The county in the first row of its block alone."""
    groups = by(sheet, "county")
    sheet.rows = [row for rows in groups.values() for row in rows]
    first = sheet.header_row()
    place = sheet.columns.index("county")
    for rows in groups.values():
        for row in rows[1:]:
            row["county"] = None
        sheet.looks.append(("merge", first, place, first + len(rows) - 1, place))
        first += len(rows)
    sheet.fields["county"]["fillDown"] = True


@distortion(6)
def visit_in_its_first_row(sheet, explained=True):
    """What holds for a visit stands in its first row; unexplained, the rest belongs to nobody."""
    before = None
    for row in sheet.rows:
        if row["_visit"] == before:
            for key in sheet.columns[: sheet.columns.index("site")]:
                row[key] = None
            if not explained:
                # Each such row is a record by itself, and the visit above it may not be whole.
                row["_visit"] = None
        else:
            before = row["_visit"]
    if explained:
        sheet.plan["blankKey"] = "continues"
        sheet.carried = True
    else:
        sheet.hold(range(len(sheet.visits)), "key-blank", "continues")
        sheet.unkeyed = ["key-blank", "fillDown"]


@distortion(6)
def ditto_marks(sheet, explained=True):
    for above, row in reversed(list(zip(sheet.rows, sheet.rows[1:]))):
        for key in ("scout", "side"):
            if row[key] == above[key]:
                row[key] = '"'
    for key in ("scout", "side"):
        sheet.fields[key]["fillDown"] = explained
    if not explained:
        sheet.hold(range(len(sheet.visits)), "ditto-unexplained", "fillDown")


# --- 17, 18: text files and headers -----------------------------------------------------------------------


@distortion(17)
def decimal_commas(sheet):
    for key in sheet.columns:
        sheet.change(key, lambda cell: str(cell).replace(".", ",") if isinstance(cell, float) else cell)
    sheet.schema["decimalChar"] = ","


@distortion(17)
def comma_unexplained(sheet, places):
    """1,5 where nothing says what the comma is."""
    for place in places:
        sheet.rows[place]["area"] = "1,5"
    sheet.hold(places, "number-ambiguous", "decimalChar")


@distortion(17)
def odd_text_file(sheet):
    """Tabs in a .csv, sep=; in the first line, an encoding of old: the writer's doing."""


@distortion(18)
def header_drift(sheet, spelling):
    """The same columns under other names and in another order."""
    spellings = [
        {"field": "Fld", "day": "VISIT_DATE", "area": "Fl\u00e4che (ac)", "lon": "  longitude "},
        {"field": "FIELD  id", "day": "Visit\ndate", "area": "Fla\u0308che (AC)", "lon": "Long\u00a0(\u00b0)"},
    ]
    for key in spellings[0]:
        names = [sheet.headers[key], *(each[key] for each in spellings)]
        sheet.fields[key]["name"] = names
        sheet.headers[key] = spellings[spelling][key]
    sheet.columns = sheet.columns[::-1] if spelling else sheet.columns[4:] + sheet.columns[:4]


@distortion(18)
def header_unknown(sheet):
    sheet.fields["day"]["name"] = sheet.headers["day"]
    sheet.headers["day"] = "Tag der Begehung"
    sheet.refused = ["no column for /observed_on", "Tag der Begehung", "further name"]


@distortion(18)
def column_added(sheet):
    sheet.add("larvae", "Larvae seen", None)
    sheet.rows[-1]["larvae"] = 4
    sheet.refused = ["Larvae seen", "does not mention"]


# --- 20: several pests ------------------------------------------------------------------------------------------


@distortion(20)
def pests_in_one_row(sheet, weevils, read):
    """Eggs and weevils side by side: a mapping for each, which leaves the other's columns alone."""
    for site in (1, 2):
        for plant in (1, 2, 3):
            key = f"S{site}P{plant}"
            sheet.add(key, f"{key} weevils", None)
            for row, visit in zip(sheet.rows, weevils):
                row[key] = visit["sites"][site - 1]["plants"][plant - 1]
    if read == "weevils":
        sheet.visits = weevils
        sheet.fields["counts"] = {
            "namePattern": "^S(?<site>[0-9])P(?<plant>[0-9]) weevils$",
            "to": "/sites/{site}/plants/{plant}",
        }
        sheet.constant["/protocol"] = "weevil-adults"
        sheet.id_of = [*sheet.id_of, "/protocol"]
        sheet.ignore.append({"namePattern": "^S[0-9]H[0-9]B[0-9]$"})
    else:
        sheet.ignore.append({"namePattern": "^S[0-9]P[0-9] weevils$"})


@distortion(20)
def row_for_each_pest(sheet, weevils):
    """Rows of eggs and rows of weevils, told by a column."""
    sheet.add("pest", "Pest", {"to": "/protocol", "values": {"BSM": "bsm-eggs", "weevil": "weevil-adults"}})
    sheet.add("adults", "Adults", {"to": "/sites/{site}/plants/{plant}"})
    rows = [{**row, "pest": "BSM"} for row in sheet.rows]
    for visit in weevils:
        like = next(row for row in sheet.rows if row["field"] == visit["field"]["field_id"])
        for site in visit["sites"]:
            for plant, adults in enumerate(site["plants"], 1):
                blank = dict.fromkeys(sheet.counts())
                where = {"site": site["site"], "side": site["side"], "head": plant, "adults": adults}
                rows.append({**like, **blank, **where, "pest": "weevil", "_visit": visit["visit_id"]})
    sheet.rows = rows
    sheet.fields["head"]["to"] = "{unit}"
    sheet.plan |= {"rowIs": "unit", "blankUnits": "notExamined"}
    sheet.plan["visitKey"] = [*sheet.plan["visitKey"], "/protocol"]
    del sheet.constant["/protocol"]
    sheet.id_of = [*sheet.id_of, "/protocol"]
    eggs = [{**visit, "visit_id": f"{visit['visit_id']}:bsm-eggs"} for visit in sheet.visits]
    sheet.visits = eggs + weevils


# --- 21: other formats ---------------------------------------------------------------------------------------------


@distortion(21)
def other_format(sheet):
    """XLS, ODS or XLSM: the writer's doing."""


@distortion(21)
def sealed(sheet):
    """With a password: nobody can read it."""
    sheet.refused = ["password"]
