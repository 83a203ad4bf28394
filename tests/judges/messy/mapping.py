"""Mapping files as an office writes them: the usual text for each layout, with what a case says otherwise."""

import json

COUNTS = {
    "wide": [
        ("namePattern", "^S(?<site>[0-9]+)H(?<head>[0-9]+)B(?<bract>[0-9]+)$", "/sites/{site}/heads/{head}/{bract}")
    ],
    "head": [
        ("name", "Site", "/sites/{site}/site"),
        ("name", "Head", "{head}"),
        ("namePattern", "^B(?<bract>[0-9]+)$", "/sites/{site}/heads/{head}/{bract}"),
    ],
    "bract": [
        ("name", "Site", "/sites/{site}/site"),
        ("name", "Head", "{head}"),
        ("name", "Bract", "{bract}"),
        ("name", "Eggs", "/sites/{site}/heads/{head}/{bract}"),
    ],
}
ROW_IS = {"wide": "visit", "head": "head", "bract": "bract"}
TARGETS = {
    "field": ("/field/field_id", ""),
    "date": ("/observed_on", 'format = "default"'),
    "scout": ("/observer_id", ""),
    "lon": ("/field/lon", ""),
    "lat": ("/field/lat", ""),
    "area": ("/field/area_ha", 'unit = "acre"'),
    "crop": ("/field/crop_type", ""),
    "stage": ("/crop_stage", ""),
    "cost": ("/economics/treatment_cost/amount", 'unit = "USD/acre"'),
    "price": ("/economics/market_value/amount", 'unit = "USD/lb"'),
    "stand": ("/economics/plant_population/count", 'unit = "1/acre"'),
}


def mapping(
    sheet,
    layout="wide",
    *,
    top="",
    dialect="",
    schema='decimalChar = "."',
    rows="",
    constant=None,
    how=None,
    without=(),
    more="",
    counts=None,
    counts_how="",
    prefix="invented",
    visit_id=None,
):
    """The mapping of a sheet. `how` has other lines for single columns, `without` the columns that it does not map."""
    how = how or {}
    row_is = f'rowIs = "{ROW_IS.get(layout, layout)}"' if "rowIs" not in rows else ""
    key = 'visitKey = ["/field/field_id", "/observed_on"]' if layout != "wide" and "visitKey" not in rows else ""
    lines = ['mapping = "1"', 'target = "visit/1.0"', top, ""]
    header = len(sheet.above) + 1
    if "headerRows" not in dialect and header > 1:
        dialect = f"headerRows = [{header}]\n{dialect}"
    if dialect:
        lines += ["[dialect]", dialect, ""]
    lines += ["[schema]", schema, "", "[rows]", row_is, key, rows, ""]
    if visit_id is None:
        visit_id = f'[visitId]\nfrom = ["/field/field_id", "/observed_on", "/observer_id"]\nprefix = {text(prefix)}'
    lines += [visit_id, "", "[constant]", '"/protocol" = "bsm-eggs"']
    lines += [f"{text(member)} = {value}" for member, value in (constant or {}).items()]
    for column, (to, usual) in TARGETS.items():
        if column in sheet.columns and column not in without:
            lines += ["", *field(sheet.headers[column], to, how.get(column, usual))]
    for kind, source, to in COUNTS.get(layout, []) if counts is None else counts:
        lines += ["", "[[field]]", f"{kind} = {text(source)}", f"to = {text(to)}"]
        if to.endswith("}") and "/" in to:
            lines.append(counts_how)
    return "\n".join([*lines, more, ""])


def field(header, to, how=""):
    named = [] if how.startswith("together") else [f"name = {text(header)}"]
    return ["[[field]]", *named, f"to = {text(to)}", how]


def text(value):
    """A basic string of TOML, which JSON's strings are."""
    return json.dumps(value, ensure_ascii=False)
