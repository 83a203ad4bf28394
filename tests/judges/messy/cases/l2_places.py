"""L: places written otherwise than in decimal degrees, and the files of other programs."""

import json
from pathlib import Path

import pyproj

import features
import mapping as mappings
from case import Case
from kit import load, sheet_case
from sheet import Sheet
from visits import changed, visits


def cases():
    return [
        dms(),
        dms_words(),
        hemisphere(),
        west_without_minus(),
        point_in_one_cell(),
        point_lon_first(),
        utm(),
        county_without_point(),
        other_json(),
        geojson(),
        json_of_export(),
    ]


def angle(value, letters):
    size = abs(value)
    degrees = int(size)
    minutes = int(round((size - degrees) * 60, 6))
    rest = round((size - degrees - minutes / 60) * 3600, 4)
    return f"{degrees}° {minutes}' {rest:g}\" {letters[value < 0]}"


def points(id, story, lon, lat, how_lon, how_lat, **how):
    truth = visits()
    sheet = Sheet(truth).all("lon", lon).all("lat", lat)
    return sheet_case(id, story, sheet, truth, how={"lon": how_lon, "lat": how_lat}, **how)


def dms():
    how = features.sexagesimal()
    return points(
        "L-dms",
        "points in degrees, minutes and seconds with letters",
        lambda lon: angle(lon, "EW"),
        lambda lat: angle(lat, "NS"),
        how,
        how,
        way=["dms", "degrees", "decimal"],
    )


def dms_words():
    how = features.sexagesimal()
    plain = lambda value: angle(value, ["", "-"]).replace("°", "").replace("'", "").replace('"', "").split(" ")
    written = lambda value: ("-" if value < 0 else "") + ":".join(plain(value)[:3])
    return points("L-dms-colons", "points as -100:07:30", written, written, how, how, way=["dms", "degrees", "decimal"])


def hemisphere():
    how = features.hemisphere()
    return points(
        "L-hemisphere",
        "points as 100.125 W and 45.25 N",
        lambda lon: f"{-lon} W",
        lambda lat: f"{lat} N",
        how,
        how,
        way=["hemisphere", "dms", "decimal", "minus"],
    )


def west_without_minus():
    return points(
        "L-west-without-minus",
        "longitudes without their minus, and the mapping says west",
        lambda lon: -lon,
        lambda lat: lat,
        features.west(),
        "",
        way=["west", "minus", "negative"],
    )


def point_in_one_cell():
    truth = visits()
    sheet = Sheet(truth).rename("lon", "Point").all("lon", lambda lon: lon)
    for row in sheet.rows:
        row["lon"] = f"{row['lat']}, {row['lon']}"
    sheet.drop("lat")
    more = "\n".join(mappings.field("Point", "/field/lat", "part = '^(?<value>[^,]+),'"))
    return sheet_case(
        "L-point-in-one-cell",
        "latitude and longitude in one cell",
        sheet,
        truth,
        how={"lon": "part = ',\\s*(?<value>[^,]+)$'"},
        more=more,
    )


def point_lon_first():
    """Well-known text, as a database exports it."""
    truth = visits()
    sheet = Sheet(truth).rename("lon", "Point")
    for row in sheet.rows:
        row["lon"] = f"POINT ({row['lon']} {row['lat']})"
    sheet.drop("lat")
    more = "\n".join(mappings.field("Point", "/field/lat", "part = '\\s(?<value>[-0-9.]+)\\)$'"))
    return sheet_case(
        "L-point-text",
        "POINT (lon lat) in one cell",
        sheet,
        truth,
        how={"lon": "part = '^POINT \\((?<value>[-0-9.]+) '"},
        more=more,
    )


def utm():
    """Easting and northing of zone 14, computed with pyproj to the centimeter."""
    to_utm = pyproj.Transformer.from_crs(4326, 32614, always_xy=True)
    truth = [changed(visit, point_within=1e-6) for visit in visits()]
    sheet = Sheet(truth).rename("lon", "Easting").rename("lat", "Northing")
    for row in sheet.rows:
        row["lon"], row["lat"] = (round(value, 3) for value in to_utm.transform(row["lon"], row["lat"]))
    how, top, more = features.utm("14N")
    return sheet_case(
        "L-utm",
        "points as easting and northing of zone 14N",
        sheet,
        truth,
        how=how,
        top=top,
        more=more,
        way=["utm", "zone", "decimal degrees"],
        without=("lon", "lat") if more else (),
    )


def county_without_point():
    """No point, but a county: the point is not known, and what is put in its place must say so."""
    truth = [changed(visit, point_within=2.0) for visit in visits()]
    counties = ["X07", "X12", "X02", "X08"]
    sheet = Sheet(truth).add("County", counties, "area").drop("lon").drop("lat")
    more = features.county_without_point("County")
    return sheet_case(
        "L-county-without-point", "a county's code and no point", sheet, truth, more=more, way=["point", "county"]
    )


def flat(visit):
    """A visit as another program's JSON: own names, nested in its own way."""
    return {
        "plot": visit["field_id"],
        "when": visit["observed_on"],
        "by": visit["observer_id"],
        "geo": {"x": visit["lon"], "y": visit["lat"]},
        "acres": visit["acres"],
        "kind": visit["crop_type"],
        "stage": visit["crop_stage"],
        "spray_usd_ac": visit["treatment_cost"][0],
        "price_usd_lb": visit["market_value"][0],
        "plants_ac": visit["plant_population"][0],
        "heads": [
            {"site": site, "head": number, "eggs": head}
            for site, heads in visit["counts"].items()
            for number, head in enumerate(heads, 1)
        ],
    }


def json_case(id, story, content, text, way):
    def make(folder):
        Path(folder, "export.json").write_text(json.dumps(content, indent=1), "utf-8")
        Path(folder, "sheet.toml").write_text(text, "utf-8")

    return Case(id, story, make, [load("export.json")], visits(), [], [], way, None)


def other_json():
    return json_case(
        "L-other-json",
        "another program's JSON, with its own names",
        [flat(visit) for visit in visits()],
        features.other_json(),
        ["table", "CSV", "path"],
    )


def geojson():
    features_of = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [visit["lon"], visit["lat"]]},
            "properties": {name: value for name, value in flat(visit).items() if name not in ("geo", "heads")}
            | {
                f"S{site}H{number}B{bract}": count
                for site, heads in visit["counts"].items()
                for number, head in enumerate(heads, 1)
                for bract, count in enumerate(head, 1)
            },
        }
        for visit in visits()
    ]
    return json_case(
        "L-geojson",
        "GeoJSON of a map program",
        {"type": "FeatureCollection", "features": features_of},
        features.geojson(),
        ["table", "CSV", "GeoJSON", "path"],
    )


def json_of_export():
    """A flat list of rows, as a web form's download."""
    sheet = Sheet(visits())
    rows = [{sheet.headers[column]: row[column] for column in sheet.columns} for row in sheet.rows]
    return json_case(
        "L-json-rows", "a web form's download: a list of flat rows", rows, mappings.mapping(sheet), ["table", "CSV"]
    )
