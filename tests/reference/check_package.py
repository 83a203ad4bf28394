"""Opens a package of `bractline export` with programs that share no code with ours, and says what they found.

check_package.py FOLDER          whole and sound
check_package.py FOLDER empty    the same of a package whose tables have no rows

Data Package: frictionless. Darwin Core archive: python-dwca-reader, the list of terms of dwcahandler (the terms of the
standard as GBIF registers them), metapype for its EML. CITATION.cff: the JSON schema 1.2.0 that cffconvert carries.
Tables: pyarrow, DuckDB, geopandas and geoparquet-validator. Prints JSON; any fault ends the program with a message.
"""

import csv
import hashlib
import importlib.util
import json
import pathlib
import subprocess
import sys
import tempfile
import zipfile
from xml.etree import ElementTree

import duckdb
import geopandas
import jsonschema
import pandas
import pyarrow.parquet
import yaml
from dwca.read import DwCAReader
from frictionless import Package
from metapype.eml import validate
from metapype.model import metapype_io

DWC = "http://rs.tdwg.org/dwc/terms/"


def carried(package, path):
    """A file that an installed package carries, without running any of it."""
    return pathlib.Path(importlib.util.find_spec(package).origin).parent / path


def sha256(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def check_sums(folder):
    listed = {}
    for line in (folder / "SHA256SUMS").read_text().splitlines():
        digest, name = line.split("  ", 1)
        listed[name] = digest
    there = {path.name for path in folder.iterdir()} - {"SHA256SUMS"}
    assert set(listed) == there, f"listed and there differ: {set(listed) ^ there}"
    for name, digest in listed.items():
        assert sha256(folder / name) == digest, f"{name} has another sum"
    return len(listed)


def check_data_package(folder, is_empty):
    description = json.loads((folder / "datapackage.json").read_text())
    report = Package(str(folder / "datapackage.json")).validate()
    found = report.flatten(["title", "rowNumber", "fieldName", "note"])
    assert report.valid, f"frictionless: {found[:5]}"
    tables = {}
    for resource in description["resources"]:
        if resource.get("type") != "table":
            continue
        same = resource["sameRows"]
        path = folder / same["path"]
        assert path.stat().st_size == same["bytes"], same
        assert "sha256:" + sha256(path) == same["hash"], same
        fields = resource["schema"]["fields"]
        assert all(field["description"] and field["type"] for field in fields), fields
        assert resource["schema"]["primaryKey"], resource["name"]
        tables[resource["name"]] = [field["name"] for field in fields]
    if is_empty:
        return description, tables
    # The check finds what is planted: a reference to a row that is not there.
    planted = Package(str(folder / "datapackage.json"))
    schema = planted.get_resource("region_week").schema
    schema.foreign_keys = [{"fields": ["iso_week"], "reference": {"resource": "protocol", "fields": ["protocol"]}}]
    assert not planted.get_resource("region_week").validate().valid, "frictionless finds nothing"
    return description, tables


def check_tables(folder, tables):
    rows = {}
    for name, columns in tables.items():
        table = pyarrow.parquet.read_table(folder / f"{name}.parquet")
        text = pandas.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False, na_values=[""])
        assert list(text.columns) == columns, name
        places = [column for column in table.column_names if column not in columns]
        assert places in ([], ["geometry", "bbox"]), places
        for field in table.schema:
            if field.name in columns:
                assert field.metadata[b"description"], field.name
        assert len(text) == table.num_rows, name
        for column in columns:
            compare(f"{name}.{column}", table[column], text[column])
        counted = duckdb.sql(f"select count(*) from read_parquet('{folder / name}.parquet')").fetchall()[0][0]
        assert counted == table.num_rows, name
        if places:
            check_places(folder / f"{name}.parquet", table)
        rows[name] = table.num_rows
    return rows


def compare(name, column, text):
    """The cells of the Parquet file are those of the CSV."""
    values = column.to_pylist()
    for value, cell in zip(values, text):
        if value is None:
            same = pandas.isna(cell)
        elif isinstance(value, bool):
            same = cell == str(value).lower()
        elif isinstance(value, (int, float)):
            same = float(cell) == float(value)
        else:
            # A text that begins like a formula has an apostrophe in front.
            same = cell in (str(value), "'" + str(value))
        assert same, f"{name}: {value!r} and {cell!r}"


def check_places(path, table):
    frame = geopandas.read_parquet(path)
    assert str(frame.crs) == "OGC:CRS84", frame.crs
    assert len(frame) == table.num_rows
    assert frame.geometry.dropna().is_valid.all(), path
    for lon, lat in (("lon", "lat"), ("cell_lon", "cell_lat")):
        if lon in frame.columns:
            there = frame[frame[lon].notna()]
            assert (there.geometry.x == there[lon]).all() and (there.geometry.y == there[lat]).all()
            assert frame[frame[lon].isna()].geometry.isna().all()
    command = [f"{sys.prefix}/bin/geoparquet-validator", "check", "--class", "all", path]
    subprocess.run(command, capture_output=True, check=True)


def check_citation(folder):
    schema = json.loads(carried("cffconvert", "schemas/1.2.0/schema.json").read_text())
    text = yaml.safe_load((folder / "CITATION.cff").read_text())
    jsonschema.validate(text, schema)
    try:
        jsonschema.validate({**text, "authors": []}, schema)
    except jsonschema.ValidationError:
        return text
    raise AssertionError("the schema of the citation finds nothing")


def terms_of_the_standard():
    with carried("dwcahandler", "dwca/terms/terms.csv").open() as file:
        return {row["uri"] for row in csv.DictReader(file) if row["prefix"] == "dwc"}


def check_eml(text):
    def faults(text):
        found = []
        validate.tree(metapype_io.from_xml(text), found)
        return found

    assert faults(text) == [], faults(text)
    start, end = text.index("<title"), text.index("</title>") + len("</title>")
    assert faults(text[:start] + text[end:]), "metapype finds nothing"


def check_darwin_core(folder):
    path = folder / "dwca.zip"
    terms = terms_of_the_standard()
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        for name in ("meta.xml", "eml.xml"):
            ElementTree.fromstring(archive.read(name))
        check_eml(archive.read("eml.xml").decode())
        with tempfile.TemporaryDirectory() as place:
            archive.extractall(place)
    said = {"events": 0, "present": 0, "absent": 0, "measurements": 0, "with_place": 0}
    with DwCAReader(str(path)) as archive:
        files = [archive.descriptor.core, *archive.descriptor.extensions]
        for file in files:
            for field in file.fields:
                assert field["term"] in terms, field
        ids = set()
        for row in archive:
            data = row.data
            ids.add(data[DWC + "eventID"])
            said["events"] += 1
            said["with_place"] += bool(data[DWC + "decimalLatitude"])
            for term in ("samplingProtocol", "sampleSizeValue", "sampleSizeUnit", "samplingEffort", "eventDate"):
                assert data[DWC + term], (term, data)
            found = [e for e in row.extensions if e.rowtype == DWC + "Occurrence"]
            assert len(found) == 1, "an event has what was found or was not"
            found = found[0].data
            assert found[DWC + "scientificName"] and found[DWC + "basisOfRecord"] == "HumanObservation"
            said[found[DWC + "occurrenceStatus"]] += 1
            if found[DWC + "organismQuantity"]:
                is_none = float(found[DWC + "organismQuantity"]) == 0
                assert is_none == (found[DWC + "occurrenceStatus"] == "absent"), found
                assert found[DWC + "organismQuantityType"]
            said["measurements"] += sum(e.rowtype == DWC + "MeasurementOrFact" for e in row.extensions)
        assert len(ids) == said["events"], "an event comes twice"
    return said


def main():
    folder = pathlib.Path(sys.argv[1])
    sums = check_sums(folder)
    description, tables = check_data_package(folder, sys.argv[2:] == ["empty"])
    private = description["parameters"]["level"] != "public"
    assert private == (folder / "TERMS.md").exists(), "terms go with a private package, and with no other"
    rows = check_tables(folder, tables)
    citation = check_citation(folder)
    print(
        json.dumps(
            {
                "files": sums,
                "rows": rows,
                "licenses": description.get("licenses"),
                "invented": description.get("invented"),
                "citation": {"license": citation.get("license"), "title": citation["title"]},
                "darwin_core": check_darwin_core(folder),
            }
        )
    )


if __name__ == "__main__":
    main()
