"""R4: the office's own mapping was wrong, is corrected, and the same sheet is loaded again."""

import json
from pathlib import Path

import features
import mapping as mappings
import writers
from case import Case
from kit import load
from sheet import Sheet
from visits import changed, visits

WAY = ["revision", "supersede", "mapping"]


def as_hectares(visit):
    return changed(visit, area_ha=visit["acres"])


def per_kilogram(visit):
    return changed(visit, market_value=(visit["market_value"][0], "kg", "USD"))


def cases():
    hectares = {"how": {"area": 'unit = "ha"'}}
    kilograms = {"how": {"price": 'unit = "USD/kg"'}}
    day_first = {"how": {"date": 'format = "%d.%m.%Y"'}}
    return [
        twice(
            "unit",
            "area was mapped as hectares, is acres; loaded again as superseding",
            hectares,
            features.supersede(),
            as_hectares,
            "area",
        ),
        twice(
            "unit-plain",
            "area was mapped as hectares, is acres; simply loaded again",
            hectares,
            ({}, []),
            as_hectares,
            "area",
        ),
        twice(
            "price",
            "price was mapped per kilogram; loaded again as superseding",
            kilograms,
            features.supersede(),
            per_kilogram,
            "market_value",
        ),
        twice(
            "price-plain",
            "price was mapped per kilogram; simply loaded again",
            kilograms,
            ({}, []),
            per_kilogram,
            "market_value",
        ),
        twice(
            "revision-constant",
            "a higher revision in the constants of the corrected mapping",
            hectares,
            ({"constant": {"/revision": "2"}}, []),
            as_hectares,
            "area",
        ),
        twice(
            "lon-lat",
            "lon and lat were exchanged, which held every row; corrected",
            {"without": ("lon", "lat"), "more": swapped()},
            ({}, []),
        ),
        twice("date-format", "a date format that held every row, corrected", day_first, ({}, [])),
        twice("nothing-changed", "the same mapping again", {}, ({}, [])),
        twice(
            "third-time",
            "corrected and superseded, then loaded once more",
            hectares,
            features.supersede(),
            as_hectares,
            "area",
            again=True,
        ),
        twice(
            "once-more-plainly",
            "corrected and superseded, then loaded as any file: duplicates",
            hectares,
            features.supersede(),
            as_hectares,
            "area",
            more=[load("sheet.csv")],
            held=0,
        ),
        twice(
            "held-before",
            "corrected and loaded plainly, which holds it; then superseded, which closes that",
            hectares,
            ({}, []),
            as_hectares,
            "area",
            more=[load("sheet.csv", *features.supersede()[1])],
            held=0,
        ),
        after_an_edit(),
    ]


def after_an_edit():
    """A visit that was edited keeps what it has; the others are superseded."""
    case = twice(
        "after-edit",
        "one visit was edited before its mapping was corrected",
        {"how": {"area": 'unit = "ha"'}},
        features.supersede(),
        as_hectares,
        "area",
    )
    first, *others = case.truth
    edited = changed(first, area_ha=33.0, **{"first_read_as": changed(first, area_ha=33.0)})
    visit_id = f"invented:{first['field_id']}:{first['observed_on']}:{first['observer_id']}"
    edit = ["visit", "edit", visit_id, "--set", "/field/area_ha=33.0", "--reason", "measured"]
    case.steps.insert(1, edit)
    case.truth = [edited, *others]
    return case


def twice(id, story, first, second, read_as=None, member=None, again=False, more=(), held=None):
    """A sheet by a first mapping, then by the right one. `second` is what that mapping says more, and the flags."""
    truth = visits()
    sheet = Sheet(truth)
    text, flags = second
    if read_as:
        truth = [changed(visit, first_read_as=read_as(visit)) for visit in truth]

    def make(folder):
        writers.by_csv(folder / "sheet.csv", sheet.grid())
        Path(folder, "first.toml").write_text(mappings.mapping(sheet, **first), "utf-8")
        Path(folder, "sheet.toml").write_text(mappings.mapping(sheet, **text), "utf-8")

    def names_member(store, run, messages):
        """A conflict that stays says which member differs."""
        said = "revision-conflict" not in messages or member in messages.lower()
        return [] if said or not member else [f"the conflict does not say that {member} differs"]

    def open_records(store, run, messages):
        still = json.loads(run.bractline("held", "list", "--format", "json").stdout)["open"]
        return [] if held is None or still == held else [f"{still} records are open, not {held}"]

    steps = [load("sheet.csv", mapping="first.toml"), *[load("sheet.csv", *flags)] * (2 if again else 1), *more]
    return Case(f"R4-{id}", story, make, steps, truth, way=WAY, clear=[names_member, open_records])


def swapped():
    return "\n".join([*mappings.field("Lon", "/field/lat"), *mappings.field("Lat", "/field/lon")])
