"""Looks in every file of a package that may be handed on for what a full package of the same store holds of fields.

search_package.py FULL PACKAGE

Texts of every file, of every part of a packed file and of every cell and note of a Parquet file are searched for each
id of a field, farm, scout and visit, each note and each outline; each pair of numbers that could be a place is held to
the points of fields and sites. Of the level grid it also counts the groups that rows are in and compares them with
county_week_full of the full package, and holds what public tables say of pressure to be coarse: exact pressures and the
means of rows together would give thresholds away. Prints JSON: what was looked for, in how much, and what was found.
"""

import collections
import json
import pathlib
import re
import struct
import sys
import zipfile

import pandas
import pyarrow.parquet

from grid_groups import expected_groups

NUMBER = re.compile(r"-?[0-9]+\.[0-9]+")


def secrets_of(folder):
    visits = pandas.read_csv(folder / "visit.csv", dtype=str)
    texts = set()
    for column in ("field_id", "farm_id", "observer_id", "visit_id", "remarks", "outline", "submission_sha256"):
        texts |= set(visits[column].dropna())
    units = pandas.read_csv(folder / "unit.csv", dtype=str)
    points = set(zip(visits["lon"].astype(float), visits["lat"].astype(float)))
    sites = units[["site_lon", "site_lat"]].dropna()
    points |= set(zip(sites["site_lon"].astype(float), sites["site_lat"].astype(float)))
    return {text for text in texts if len(text) > 3}, points


def texts_of(path):
    """Every text of a file: of itself, or of what is packed in it."""
    if path.suffix == ".zip":
        with zipfile.ZipFile(path) as archive:
            for name in archive.namelist():
                yield f"{path.name}/{name}", archive.read(name).decode()
    elif path.suffix == ".parquet":
        table = pyarrow.parquet.read_table(path)
        lines = [str(table.schema.metadata)]
        lines += [str(field.metadata) for field in table.schema]
        for column in table.column_names:
            if column not in ("geometry", "bbox"):
                lines += [str(value) for value in table[column].to_pylist() if value is not None]
        yield path.name, "\n".join(lines)
    else:
        yield path.name, path.read_bytes().decode()


def places_of(path, text):
    """Pairs of numbers next to each other in a text, and of a Parquet file the positions."""
    numbers = [float(number) for number in NUMBER.findall(text)]
    for one, other in zip(numbers, numbers[1:]):
        yield one, other
        yield other, one
    if path.suffix == ".parquet":
        table = pyarrow.parquet.read_table(path)
        if "geometry" in table.column_names:
            for shape in table["geometry"].to_pylist():
                if shape:
                    # Every eight bytes from every offset: no position escapes, whatever the form.
                    for start in range(0, len(shape) - 15):
                        yield struct.unpack_from("<dd", shape, start)


def search(folder, texts, points):
    found, characters, places = [], 0, 0
    for path in sorted(folder.iterdir()):
        for name, text in texts_of(path):
            characters += len(text)
            found += [f"{name} holds {secret!r}" for secret in texts if secret in text]
            for place in places_of(path, text):
                places += 1
                if place in points:
                    found.append(f"{name} holds the point {place}")
    return found, characters, places


def check_grid(folder, full):
    """Rows of the level grid against the tables of the same package and the groups of the full one."""
    least = json.loads((folder / "datapackage.json").read_text())["parameters"]
    weeks = pandas.read_csv(folder / "field_week.csv", dtype={"cell": str})
    visits = pandas.read_csv(folder / "visit.csv")
    counties = pandas.read_csv(full / "county_week_full.csv")
    key = ["county_id", "iso_week", "protocol"]
    group = [*key, "in_window", "cell", "grid_km"]
    sizes = weeks.fillna({"cell": "", "grid_km": 0}).groupby(group).size()
    assert (sizes >= least["minFields"]).all(), sizes.min()
    for column in ("field_mean", "standard_error"):
        for table in (weeks, visits):
            for value in table[column].dropna():
                assert value == float(f"{value:.1e}"), f"{column} {value} has more than two digits"
    assert sorted(weeks["row"]) == list(range(1, len(weeks) + 1))
    assert sorted(visits["row"]) == list(range(1, len(visits) + 1))
    assert visits[visits["is_reference"]].groupby("field_week").size().eq(1).all()
    assert set(visits["field_week"]) == set(weeks["row"])
    # Within the window nothing of a county that is shown is left out, and of one that is not nothing is there.
    within = weeks[weeks["in_window"]]
    told = within.groupby(key).agg(
        fields=("row", "size"),
        at=("pressure_from", lambda bounds: (bounds >= 1).sum()),
    )
    # Each row tells the place that it may: computed again from the full package, farms and all.
    groups, shown = expected_groups(full, least)
    assert sizes.to_dict() == groups
    counties = counties.set_index(key)
    shown = counties.loc[sorted(shown)]
    expected = shown[shown["fields_visited"] > 0]
    assert set(told.index) == set(expected.index)
    for place, row in told.iterrows():
        county = expected.loc[place]
        assert (row["fields"], row["at"]) == (county["fields_visited"], county["fields_at_threshold"]), place
    outside = weeks[~weeks["in_window"]].groupby(key).size()
    for place, fields in outside.items():
        assert fields == shown.loc[place, "fields_outside_stage"], place
    return collections.Counter("county" if km == 0 else f"{km:g} km" for km in weeks["grid_km"].fillna(0))


def check_coarse(folder):
    """No public table has a pressure that a row could be divided by: classes, and means to the nearest 0.2."""
    checked = 0
    for name in ("county_week", "elsewhere_week", "region_week", "region_median"):
        table = pandas.read_csv(folder / f"{name}.csv")
        assert not {"median_pressure", "p90_pressure", "max_pressure", "share_at_threshold"} & set(table.columns), name
        for mean in table.get("mean_pressure", pandas.Series(dtype=float)).dropna():
            assert abs(mean * 5 - round(mean * 5)) < 1e-9, f"{name}: {mean}"
        for bound in ("median_from", "median_below"):
            found = set(table.get(bound, pandas.Series(dtype=float)).dropna())
            assert found <= {0, 0.25, 0.5, 1, 1.5}, found
        checked += len(table)
    return checked


def main():
    full, package = map(pathlib.Path, sys.argv[1:])
    texts, points = secrets_of(full)
    # The search finds what is there: the full package itself.
    there, *_ = search(full, set(list(texts)[:50]), set(list(points)[:50]))
    assert len(there) > 50, "the search finds nothing"
    found, characters, places = search(package, texts, points)
    said = {"secrets": len(texts), "points": len(points), "characters": characters, "places": places, "found": found[:20]}
    said["coarse"] = check_coarse(package)
    if (package / "visit.csv").exists():
        said["grid"] = check_grid(package, full)
    print(json.dumps(said))


if __name__ == "__main__":
    main()
