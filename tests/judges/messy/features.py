"""Texts of mappings and flags of commands that name a feature, each in one place."""

import json

import mapping as mappings
from mapping import TARGETS
from sheet import Sheet
from visits import visits


def sender(name):
    """Loads as the office of this name, so that its numbers of fields are its own."""
    return ["--sender", name]


def sender_prefix(name, field="", scout=""):
    """A step: the settings put prefixes before the ids of this office."""

    def step(run):
        settings = run.folder / "ws" / "bractline.toml"
        lines = [f'[senders."{name}"]', f'field_prefix = "{field}"', f'scout_prefix = "{scout}"']
        settings.write_text(settings.read_text("utf-8") + "\n" + "\n".join(lines) + "\n", "utf-8")

    return step


def mapped_prefix(field, scout):
    """Lines of [visitId] that put prefixes before ids."""
    return f'fieldPrefix = "{field}"\nscoutPrefix = "{scout}"'


def bud_totals(to="/sites/{site}/plants/{plant}"):
    """The member for one number a bud."""
    return to


def ignored_words(words):
    """Words next to numbers that mean nothing."""
    return f"bareNumber = false\nignoreText = {json.dumps(words)}"


def supersede():
    """Loads a sheet again after its mapping was corrected: what the mapping says more, and the flags."""
    return {}, ["--supersede"]


def day_without_year(format):
    """A format whose year comes from the hand-in."""
    return f'format = "{format}"\nyear = 2026'


def month_names(format, language):
    """A format with the names of months in another language."""
    return f'format = "{format}"'


def day_from_parts(columns, format):
    """A day that several columns make: the lines of its field, which has no name."""
    return f'together = {json.dumps(columns)}\nformat = "{format}"'


def days_across(sheet):
    """Days in the header, one column of counts for each: a pattern with a group for the day."""
    counts = [
        ("name", "Site", "/sites/{site}/site"),
        ("name", "Head", "{head}"),
        ("name", "Bract", "{bract}"),
        ("namePattern", "^(?<day>[0-9]{4}-[0-9]{2}-[0-9]{2})$", "/sites/{site}/heads/{head}/{bract}"),
        ("name", "day", "/observed_on"),
    ]
    return mappings.mapping(sheet, "bract", counts=counts)


def transposed(sheet):
    """Visits are columns and members are rows."""
    return mappings.mapping(sheet, dialect="transpose = true")


def tabs_joined(sheet):
    """A second tab with more columns of the same fields, found by a key."""
    more = [
        mappings.field("Lon", "/field/lon"),
        mappings.field("Lat", "/field/lat"),
        mappings.field("Area (ac)", "/field/area_ha", 'unit = "acre"'),
        mappings.field("Crop", "/field/crop_type"),
    ]
    more = "\n".join("\n".join(each) for each in more)
    return mappings.mapping(
        sheet, "head", dialect='sheetName = "Counts"', more=f'{more}\n[[join]]\nsheetName = "Fields"\nname = "Field"'
    )


def sexagesimal():
    """Angles in degrees, minutes and seconds, with the letter of the hemisphere."""
    return 'format = "dms"'


def hemisphere():
    """Decimal degrees with the letter of the hemisphere, as 100.125 W."""
    return 'format = "dms"'


def west():
    """Longitudes written without their minus."""
    return 'hemisphere = "W"'


def utm(zone):
    """A point in easting and northing of a zone: lines of the columns, of the head of the mapping, and further ones."""
    return {"lon": f'utmZone = "{zone}"', "lat": f'utmZone = "{zone}"'}, "", ""


def county_without_point(column):
    """A county and no point."""
    return "\n".join(mappings.field(column, "/field/county_id"))


def other_json():
    """Records of another program, whose columns are JSON Pointers."""
    return mappings.mapping(
        Sheet(visits()),
        "head",
        dialect='rowsOf = "/heads"',
        without=TARGETS,
        counts=[
            ("name", "/heads/site", "/sites/{site}/site"),
            ("name", "/heads/head", "{head}"),
            ("namePattern", "^/heads/eggs/(?<bract>[0-9]+)$", "/sites/{site}/heads/{head}/{bract}"),
        ],
        more=renamed("/geo/x", "/geo/y", "/"),
    )


def geojson():
    """Features of a map program, whose columns are their properties and the point."""
    return mappings.mapping(
        Sheet(visits()),
        without=TARGETS,
        counts=[
            (
                "namePattern",
                "^/properties/S(?<site>[0-9]+)H(?<head>[0-9]+)B(?<bract>[0-9]+)$",
                "/sites/{site}/heads/{head}/{bract}",
            )
        ],
        more=renamed("/geometry/coordinates/0", "/geometry/coordinates/1", "/properties/"),
    )


def renamed(lon, lat, before):
    """The columns of the other program's names."""
    names = {
        "field": "plot",
        "date": "when",
        "scout": "by",
        "area": "acres",
        "crop": "kind",
        "stage": "stage",
        "cost": "spray_usd_ac",
        "price": "price_usd_lb",
        "stand": "plants_ac",
    }
    names = {column: f"{before}{name}" for column, name in names.items()} | {"lon": lon, "lat": lat}
    return "\n".join("\n".join(mappings.field(names[column], *TARGETS[column])) for column in TARGETS)
