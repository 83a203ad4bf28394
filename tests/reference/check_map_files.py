"""Opens published files with programs that share no code with ours, and says what they found.

check_map_files.py geojson FILE FEATURES       GeoJSON: geojson-validator, GDAL, geopandas
check_map_files.py same FOLDER                  the map files of a folder hold the same: GDAL, geopandas,
                                               DuckDB, geoparquet-validator
check_map_files.py same-elements PAGE PAGE     two HTML pages have the same elements and attributes
check_map_files.py tables PARQUET CSV          pyarrow and pandas; prints JSON

Any difference ends the program with a message and a code other than 0.
"""

import datetime
import json
import re
import subprocess
import sys
from html.parser import HTMLParser


# What the GeoJSON alone has, for viewers that take no style file.
LOOK = ("class", "title", "description", "fill", "fill-opacity", "stroke", "stroke-width")

BENIGN = ("holes", "crosses_antimeridian")


def check_geojson(path, expected):
    import geojson_validator
    import geopandas

    with open(path, "rb") as file:
        raw = file.read()
    assert not raw.startswith(b"\xef\xbb\xbf"), "the file has a byte order mark"

    def refuse(constant):
        raise AssertionError(f"{constant} is not JSON")

    collection = json.loads(raw.decode("utf-8"), parse_constant=refuse)
    assert "crs" not in collection, "RFC 7946 has no crs"

    structure = geojson_validator.validate_structure(collection)
    assert not structure, f"structure: {structure}"
    geometries = geojson_validator.validate_geometries(collection)
    assert not geometries["invalid"], f"geometry: {geometries['invalid']}"
    # Holes are no fault, and the validator calls a ring that ends at 180 degrees one that crosses.
    problems = {name: found for name, found in geometries["problematic"].items() if name not in BENIGN}
    assert not problems, f"geometry: {problems}"

    features = collection["features"]
    assert len(features) == expected, f"{len(features)} features, not {expected}"
    ids = [feature["id"] for feature in features]
    assert len(set(ids)) == len(ids), "an id comes twice"
    names = {tuple(feature["properties"]) for feature in features}
    assert len(names) == 1, "features differ in their properties"

    positions = [list(position) for feature in features for position in walk(feature["geometry"]["coordinates"])]
    for position in positions:
        assert len(position) == 2, f"{position} has a third number"
        for number in position:
            decimals = str(number).partition(".")[2]
            assert len(decimals) <= 6, f"{number} has more than 6 decimals"
    check_bbox(collection["bbox"], positions)

    frame = geopandas.read_file(path)
    assert len(frame) == expected, f"geopandas reads {len(frame)} features"
    assert frame.geometry.is_valid.all(), "geopandas finds an invalid geometry"
    assert not frame.geometry.is_empty.any(), "geopandas finds an empty geometry"
    assert str(frame.crs) in ("EPSG:4326", "OGC:CRS84"), frame.crs
    for shape in frame.geometry:
        for polygon in getattr(shape, "geoms", [shape]):
            west, _, east, _ = polygon.bounds
            assert east - west < 180, "a polygon crosses the 180th meridian"
            assert polygon.exterior.is_ccw, "an exterior ring runs clockwise"
            assert not any(ring.is_ccw for ring in polygon.interiors), "a hole runs counter-clockwise"

    told = subprocess.run(["ogrinfo", "-al", "-so", path], capture_output=True, text=True, check=True)
    count = re.search(r"Feature Count: (\d+)", told.stdout)
    assert count and int(count[1]) == expected, told.stdout
    assert not told.stderr, told.stderr
    for column, kind in [
        ("county_id", "String"),
        ("iso_week", "String"),
        ("start", "Date"),
        ("end", "Date"),
        ("status", "String"),
    ]:
        found = re.search(rf"^{column}: (\S+)", told.stdout, re.MULTILINE)
        assert found and found[1] == kind, f"GDAL reads {column} as {found and found[1]}"
    print(f"{expected} features, every check passed")


def check_same(folder):
    import duckdb
    import geopandas
    import pandas
    import pyarrow.parquet

    map_path, parquet_path = f"{folder}/county_week.geojson", f"{folder}/county_week.geo.parquet"
    subprocess.run(
        [f"{sys.prefix}/bin/geoparquet-validator", "check", "--class", "all", parquet_path],
        capture_output=True,
        check=True,
    )
    with open(map_path, encoding="utf-8") as file:
        features = json.load(file)["features"]
    table = geopandas.read_parquet(parquet_path)
    assert str(table.crs) == "OGC:CRS84", table.crs
    drawn = geopandas.read_file(map_path).to_crs("OGC:CRS84")
    assert len(table) == len(drawn) == len(features)
    assert table.geometry.geom_equals(drawn.geometry).all(), "the outlines differ"
    names = list(features[0]["properties"])
    columns = [name for name in table.columns if name != "geometry"]
    assert columns == [name for name in names if name not in LOOK], columns
    # Nothing in between turns a number: the JSON text and the Parquet cell are the same value.
    for feature, row in zip(features, pyarrow.parquet.read_table(parquet_path).to_pylist(), strict=True):
        for name, value in feature["properties"].items():
            if name in LOOK:
                continue
            cell = row[name]
            cell = cell.isoformat() if isinstance(cell, datetime.date) else cell
            assert cell == value, f"{feature['id']}: {name} is {cell} and {value}"
        shape = feature["geometry"]
        positions = list(walk(shape["coordinates"]))
        box = [min(x for x, _ in positions), min(y for _, y in positions)]
        box += [max(x for x, _ in positions), max(y for _, y in positions)]
        assert list(row["bbox"].values()) == box, feature["id"]
    # GeoParquet's rows that have figures are those of the CSV.
    csv = pandas.read_csv(f"{folder}/county_week.csv")
    shown = table["status"] != "no-figures"
    assert len(csv) == int(shown.sum()) > 0
    assert table["median_class"].notna().equals(table["status"].isin(["median", "nothing-found"]))
    assert table[~shown][["edition", "fields_visited", "at_threshold_min", "fields_outside_stage"]].isna().all(axis=None)
    west = duckdb.execute(
        f"select count(*), min(bbox.xmin), count(distinct county_id) from '{parquet_path}'"
    ).fetchone()
    assert west == (len(features), table.total_bounds[0], table["county_id"].nunique()), west
    described = pyarrow.parquet.read_schema(parquet_path)
    for name in columns:
        assert b"description" in (described.field(name).metadata or {}), f"{name} is not described"

    points_path = f"{folder}/sample_points.geojson"
    with open(points_path, encoding="utf-8") as file:
        points = json.load(file)["features"]
    assert points, "no point: nothing is proved"
    assert len(geopandas.read_file(points_path)) == len(points)
    for path, expected in ((map_path, len(features)), (points_path, len(points))):
        told = subprocess.run(["ogrinfo", "-al", "-so", path], capture_output=True, text=True, check=True)
        assert f"Feature Count: {expected}\n" in told.stdout and not told.stderr, told
    print(f"{len(features)} counties and {len(points)} points, every check passed")


def walk(coordinates):
    if isinstance(coordinates[0], (int, float)):
        yield coordinates
    else:
        for part in coordinates:
            yield from walk(part)


def check_bbox(bbox, positions):
    """Every position is in the box, and each side of the box touches one."""
    west, south, east, north = bbox
    span = (east - west) % 360
    for longitude, latitude in positions:
        assert (longitude - west) % 360 <= span + 1e-9, f"{longitude} is outside {bbox}"
        assert south <= latitude <= north, f"{latitude} is outside {bbox}"
    longitudes = {longitude for longitude, _ in positions}
    latitudes = {latitude for _, latitude in positions}
    assert west in longitudes and east in longitudes, f"{bbox} is too wide"
    assert south == min(latitudes) and north == max(latitudes), f"{bbox} is too high"


class Skeleton(HTMLParser):
    """The elements of a page and the names of their attributes, without any text."""

    def __init__(self, page):
        super().__init__()
        self.found = []
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        # Which names fit inside their county, and so are written on the map, hangs on their length.
        if tag != "text":
            self.found.append((tag, tuple(sorted(name for name, _ in attributes))))

    def handle_comment(self, comment):
        self.found.append(("comment", ()))


def check_same_elements(one, other):
    pages = []
    for path in (one, other):
        with open(path, encoding="utf-8") as file:
            pages.append(sorted(Skeleton(file.read()).found))
    more = [element for element in set(pages[0]) if pages[0].count(element) != pages[1].count(element)]
    # A protocol's cautions are the same in number in both pages, so nothing else may differ.
    assert not more, f"the pages differ in {more}"
    assert len(pages[0]) > 100, "the pages are almost empty"
    print("the same elements and attributes")


def check_tables(parquet_path, csv_path):
    import pandas
    import pyarrow.parquet

    file = pyarrow.parquet.ParquetFile(parquet_path)
    text = lambda pairs: {key.decode(): value.decode() for key, value in (pairs or {}).items()}
    columns = {
        field.name: {key: value for key, value in text(field.metadata).items() if not key.startswith("PARQUET:")}
        for field in file.schema_arrow
    }
    rows = file.read().to_pylist()
    frame = pandas.read_csv(csv_path, float_precision="round_trip")
    differ = []
    for row, (_, read) in zip(rows, frame.iterrows(), strict=True):
        for name, value in row.items():
            other = None if pandas.isna(read[name]) else read[name]
            if isinstance(value, str):
                other = other.removeprefix("'") if value.startswith("=") else other
            if value != other:
                differ.append([name, value, str(other)])
    print(
        json.dumps(
            {
                "columns": columns,
                "invented": text(file.metadata.metadata).get("invented"),
                "compression": file.metadata.row_group(0).column(0).compression,
                "rows_differ": differ,
                "first_name_in_csv": frame["county_name"][0],
            }
        )
    )


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["geojson", path, expected]:
            check_geojson(path, int(expected))
        case ["same", folder]:
            check_same(folder)
        case ["same-elements", one, other]:
            check_same_elements(one, other)
        case ["tables", parquet_path, csv_path]:
            check_tables(parquet_path, csv_path)
        case _:
            sys.exit(__doc__)
