"""Makes the files of the truth table: each the same visits, bent by one to four of the 21 distortions.

Usage: make.py FOLDER

Writes the files, their mappings, `region.geojson`, `protocols/` and `manifest.json` into FOLDER. The manifest says
of each file: file, mapping, distortions (numbers), made_by, records (this program's own count), counted (the same
counted in the file by a second reader; null if none can open it), visits (those that come back, as records), held
(for each held record, in the order of rows, words that its message must hold), refused (words, or null).
"""

import json
import shutil
import sys
from pathlib import Path

import cells
import count_records
import tables
import truth
import writers
from bent_sheet import BentSheet

HERE = Path(__file__).resolve().parents[3]


class Table:
    """The files as they are asked for, and what is known of each."""

    def __init__(self, folder):
        self.folder = folder
        self.entries = []
        self.converted = {}

    def add(self, name, made_by, sheet, *bends, **how):
        """One file. `made_by` is openpyxl, pandas, odfpy, xlwt, csv, or libreoffice, which opens what openpyxl (or,
        `of="csv"`, csv) wrote."""
        for each in bends:
            each(sheet)
        path = self.folder / name
        if "seal" in how:
            writers.by_openpyxl(sheet, self.folder / f"plain-{name}")
            writers.seal(self.folder / f"plain-{name}", path)
            (self.folder / f"plain-{name}").unlink()
        elif made_by == "libreoffice":
            source_form = how.get("of", "xlsx")
            source = self.folder / "sources" / path.suffix[1:] / f"{path.stem}.{source_form}"
            source.parent.mkdir(parents=True, exist_ok=True)
            (writers.by_csv if source_form == "csv" else writers.by_openpyxl)(sheet, source)
            self.converted.setdefault((source_form, path.suffix[1:]), []).append(source)
        elif made_by == "csv":
            writers.by_csv(sheet, path, how.get("delimiter", ","), how.get("encoding", "utf-8"), how.get("first", ""))
        else:
            getattr(writers, f"by_{made_by}")(sheet, path)
        (self.folder / "mappings").mkdir(exist_ok=True)
        mapping = f"mappings/{name}{how.get('mapping', '')}.toml"
        (self.folder / mapping).write_text(sheet.mapping(), "utf-8")
        self.entries.append((name, made_by, mapping, sheet, how))

    def finish(self):
        for (_form, extension), sources in self.converted.items():
            writers.by_libreoffice(sources, extension, self.folder, self.folder / "profile")
        shutil.rmtree(self.folder / "sources")
        shutil.rmtree(self.folder / "profile")
        entries = [self.entry(*entry) for entry in self.entries]
        (self.folder / "manifest.json").write_text(json.dumps(entries, ensure_ascii=False, indent=1), "utf-8")

    def entry(self, name, made_by, mapping, sheet, how):
        held = sheet.expected_held()
        back = [] if sheet.refused else [visit for visit in sheet.visits if visit["visit_id"] not in sheet.held]
        return {
            "file": name,
            "made_by": made_by,
            "mapping": mapping,
            "distortions": sorted(set(sheet.distortions)),
            "records": len(sheet.visits) + sum(row.get("_visit", "") is None for row in sheet.rows),
            "counted": None if "seal" in how else count_records.count(self.folder / name, self.plan(made_by, sheet, how)),
            "visits": back,
            "held": held,
            "refused": sheet.refused,
        }

    def plan(self, made_by, sheet, how):
        """How the second reader counts, by places alone."""
        keys = [key for key in ("field", "day", "pest") if key in sheet.columns]
        by_lo = made_by == "libreoffice"
        plan = {
            "header": 1 if sheet.sheets else sheet.header_row(),
            "keys": [sheet.columns.index(key) for key in keys],
            "each": sheet.plan["rowIs"] == "visit",
            "carried": sheet.carried,
            "encoding": "cp1252" if by_lo else how.get("encoding", "utf-8"),
            "delimiter": ";" if by_lo else how.get("delimiter", ","),
        }
        if sheet.skips or sheet.blocks:
            plan["dropped"] = "^(Total|Average|County [0-9]|Field ID$)"
        if sheet.sheets:
            plan["sheets"] = sheet.dialect.get("sheetPattern", f"^{sheet.name}$").replace("?<", "?P<")
        return plan


def main():
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    region = truth.region(HERE / "sample_data" / "region.geojson")
    (folder / "region.geojson").write_text(json.dumps(region), "utf-8")
    (folder / "protocols").mkdir(exist_ok=True)
    eggs = (HERE / "pipeline" / "protocols" / "bsm-eggs.toml").read_text("utf-8")
    (folder / "protocols" / "weevil-adults.toml").write_text(truth.weevil_protocol(eggs), "utf-8")
    visits = truth.visits(region)
    table = Table(folder)
    files(table, visits, truth.with_weevils(visits))
    table.finish()


def with_(bend_sheet, *arguments, **named):
    """A distortion with what it is to be told."""
    return lambda sheet: bend_sheet(sheet, *arguments, **named)


def files(table, visits, weevils):
    """Every file: name, program, layout, distortions."""
    add = table.add
    wide = lambda count=len(visits): BentSheet(visits[:count])
    heads = lambda count=8: BentSheet(visits[:count], "head")
    bracts = lambda count=4: BentSheet(visits[:count], "bract")

    # What repeats, what stands above, several header rows.
    add("wide.xlsx", "openpyxl", wide(), tables.wide_repeats)
    add("wide-title.ods", "libreoffice", wide(), tables.wide_repeats, tables.title_above, tables.other_format)
    add("wide-words.csv", "csv", wide(), with_(tables.wide_repeats, words=True), with_(tables.header_drift, 0))
    add("weeks-as-columns.xlsx", "openpyxl", wide(), tables.wide_repeats, tables.days_as_columns)
    add("weeks-as-columns.csv", "csv", wide(), tables.wide_repeats, tables.days_as_columns)
    add("two-header-rows.xlsx", "openpyxl", wide(), tables.wide_repeats, tables.title_above, tables.header_of_two_rows)
    add("two-header-rows.xls", "xlwt", wide(), with_(tables.header_of_two_rows, tall=True), tables.other_format)
    add("three-header-rows.ods", "libreoffice", wide(), tables.header_of_three_rows, tables.other_format)
    add("three-header-rows.csv", "csv", wide(), tables.title_above, tables.header_of_three_rows)

    # Totals, pages, several sheets and tables.
    add("totals.xlsx", "openpyxl", heads(), tables.totals_and_spacers)
    add("totals-title.xls", "libreoffice", heads(), tables.title_above, tables.totals_and_spacers, tables.other_format)
    add(
        "totals-tabs.csv", "csv", bracts(), tables.totals_and_spacers, tables.odd_text_file, tables.title_above,
        delimiter="\t",
    )
    add("sheet-a-county.xlsx", "openpyxl", heads(24), with_(tables.sheet_for_each, "county", "County"))
    add(
        "sheet-a-farm.ods", "libreoffice", wide(6), with_(tables.sheet_for_each, "farm", "Farm"), tables.wide_repeats,
        tables.other_format,
    )
    add("tables-below.csv", "csv", heads(24), tables.tables_below_each_other)
    add("tables-below.xlsx", "pandas", heads(24), tables.tables_below_each_other)
    add("table-beside.xlsx", "openpyxl", wide(), tables.another_table_beside)

    # What holds for the rows below.
    add("county-merged.xlsx", "openpyxl", heads(24), tables.county_merged_down)
    add("county-merged.ods", "libreoffice", heads(24), tables.county_merged_down, tables.other_format)
    add("first-row.csv", "csv", bracts(), tables.visit_in_its_first_row)
    add("first-row-unexplained.xlsx", "libreoffice", heads(4), with_(tables.visit_in_its_first_row, explained=False))
    add(
        "ditto.csv", "csv", heads(), tables.ditto_marks, tables.decimal_commas, tables.odd_text_file,
        delimiter=";", encoding="cp1252",
    )
    add("ditto-unexplained.ods", "odfpy", heads(4), with_(tables.ditto_marks, explained=False), tables.other_format)

    # Units, fractions.
    add("units-in-header.xlsx", "openpyxl", wide(), cells.units_in_header)
    add("units-in-cells.csv", "pandas", wide(), cells.units_in_cells, tables.wide_repeats)
    add("units-nowhere.xlsx", "libreoffice", wide(), with_(cells.units_nowhere, [2, 5]))
    add("units-differ.xls", "xlwt", wide(), with_(cells.units_that_differ, [0, 9]), tables.other_format)
    add("fractions.csv", "csv", wide(), cells.fractions, tables.title_above)
    add("fractions.ods", "odfpy", wide(), cells.fractions, cells.units_in_header, tables.other_format)
    add("fractions-unexplained.xlsx", "pandas", wide(), with_(cells.fractions, explained=False))
    add("fraction-became-date.xlsx", "openpyxl", wide(), with_(cells.fraction_as_date, [1, 4]))
    add(
        "opened-by-a-spreadsheet.xlsx", "libreoffice", wide(), with_(cells.fraction_for_a_spreadsheet, [3, 8]),
        cells.zeros_lost, of="csv",
    )

    # No number, no exact number.
    add("marks.xlsx", "openpyxl", heads(), cells.marks_for_nothing)
    add("marks.csv", "csv", heads(), cells.marks_for_nothing, tables.totals_and_spacers)
    add("marks-unexplained.xlsx", "openpyxl", wide(), cells.marks_unexplained, tables.wide_repeats)
    add("marks-unexplained.csv", "pandas", wide(), cells.marks_unexplained)
    add("censored.xlsx", "openpyxl", wide(), cells.censored)
    add("censored.csv", "csv", wide(), with_(cells.censored, bare=False), tables.odd_text_file, delimiter="|")

    # Colors, hidden things, invisible signs, formulas.
    add("colors.xlsx", "openpyxl", wide(), cells.colors_and_comments)
    add("colors-alone.ods", "libreoffice", wide(), with_(cells.colors_alone, [2, 6]), tables.other_format)
    add("colors-alone.xlsx", "openpyxl", wide(), with_(cells.colors_alone, [2, 6]))
    add("numbers-as-text.xlsx", "openpyxl", wide(), cells.numbers_as_text, cells.apostrophes)
    add("numbers-as-text.xls", "libreoffice", heads(), cells.numbers_as_text, tables.other_format)
    add("apostrophes.csv", "csv", wide(), cells.apostrophes, with_(tables.header_drift, 1))
    add("filtered.xlsx", "openpyxl", wide(), cells.rows_hidden_by_a_filter, cells.colors_and_comments)
    add("filtered.ods", "libreoffice", wide(), cells.rows_hidden_by_a_filter, tables.other_format)
    add("hidden-column.xlsx", "openpyxl", wide(), cells.hidden_column)
    add("hidden-sheet.xlsx", "openpyxl", wide(), cells.hidden_sheet)
    add("hidden-sheet.ods", "libreoffice", wide(), cells.hidden_sheet, tables.other_format)
    add("formulas.xlsx", "libreoffice", wide(), cells.formulas)
    add("formulas.xls", "libreoffice", wide(), cells.formulas, tables.other_format)
    add("formulas-not-calculated.xlsx", "openpyxl", wide(), with_(cells.formulas, calculated=False))
    add(
        "formulas-broken.xlsx", "openpyxl", wide(), with_(cells.formulas_broken, ["#REF!", "#DIV/0!", "#SPILL!", "#CALC!"]),
    )
    add(
        "formulas-broken.ods", "libreoffice", wide(), with_(cells.formulas_broken, ["#REF!", "#N/A"]),
        tables.other_format,
    )

    # Ids, days, times.
    add("zeros-lost.xlsx", "openpyxl", wide(), cells.zeros_lost)
    add("zeros-lost.ods", "odfpy", heads(), cells.zeros_lost, tables.other_format)
    add("county-zeros-lost.xls", "xlwt", wide(), cells.county_zeros_lost, tables.other_format)
    add("some-zeros-lost.xlsx", "openpyxl", wide(), with_(cells.some_zeros_lost, [2, 11]))
    add("digits-lost.csv", "csv", wide(), with_(cells.digits_lost, [0, 7]))
    add("days-month-first.csv", "csv", wide(), with_(cells.days_as_text, "%m/%d/%Y"), with_(tables.header_drift, 0))
    add("days-two-digits.xlsx", "openpyxl", wide(), with_(cells.days_as_text, "%d.%m.%y"), tables.title_above)
    add("days-several.ods", "odfpy", heads(), with_(cells.days_as_text, "%d.%m.%Y", "%B %d, %Y"), tables.other_format)
    add("days-ambiguous.csv", "csv", wide(), with_(cells.days_ambiguous, True))
    add("days-ambiguous-short.xlsx", "pandas", wide(), with_(cells.days_ambiguous, False), tables.title_above)
    add("days-unsaid.xlsx", "openpyxl", wide(), cells.days_unsaid)
    add("times.csv", "csv", wide(), with_(cells.time_of_submission, True))
    add("times-without-zone.xlsx", "openpyxl", wide(4), with_(cells.time_of_submission, False))

    # Text files and headers.
    add(
        "semicolons-1252.csv", "csv", wide(), tables.decimal_commas, tables.odd_text_file, with_(tables.header_drift, 0),
        delimiter=";", encoding="cp1252",
    )
    add(
        "sep-line.csv", "csv", wide(), tables.decimal_commas, tables.odd_text_file,
        delimiter=";", first="sep=;\r\n",
    )
    add("utf16-tabs.csv", "csv", heads(), tables.odd_text_file, delimiter="\t", encoding="utf-16")
    add("saved-as-text.csv", "libreoffice", heads(), tables.odd_text_file, tables.title_above)
    add(
        "comma-unexplained.csv", "csv", wide(), with_(tables.comma_unexplained, [1, 2]), tables.odd_text_file, delimiter=";",
    )
    add("headers-drift.xlsx", "openpyxl", wide(), with_(tables.header_drift, 1), tables.title_above)
    add("header-unknown.xlsx", "pandas", wide(), tables.header_unknown)
    add("column-added.csv", "csv", wide(), tables.column_added)

    # Places, pests.
    add("point-in-one-cell.xlsx", "openpyxl", wide(), cells.point_in_one_cell)
    add("point-in-one-cell-swapped.csv", "csv", wide(), with_(cells.point_in_one_cell, swapped=[3]))
    add("degrees-minutes.xlsx", "pandas", wide(), with_(cells.degrees_and_minutes, [0, 5]))
    add("point-swapped.ods", "odfpy", wide(), with_(cells.point_swapped, [1, 6]), tables.other_format)
    add("sign-lost.csv", "csv", wide(), with_(cells.sign_lost, [4]))
    add(
        "pests-in-one-row.xlsx", "openpyxl", wide(), with_(tables.pests_in_one_row, weevils, "eggs"), tables.wide_repeats,
    )
    add(
        "pests-in-one-row-again.xlsx", "openpyxl", wide(), with_(tables.pests_in_one_row, weevils, "weevils"),
        tables.wide_repeats,
    )
    add("row-a-pest.csv", "csv", heads(), with_(tables.row_for_each_pest, weevils[:8]))

    # Other formats.
    add("macros.xlsm", "libreoffice", wide(), tables.other_format, cells.formulas)
    add("sealed.xlsx", "openpyxl", wide(), tables.sealed, seal=True)


if __name__ == "__main__":
    main()
