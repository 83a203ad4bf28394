"""The visits of workspaces as records, read from the Delta log and the Parquet files without bractline.

Usage: stored_visits.py WORKSPACE [WORKSPACE ...]. Prints a JSON list: for each workspace its receipts, its visits as
records of the visit schema without schema_version, in the order of their ids, and the findings of its held records,
in the order of their lines.
"""

import json
import pathlib
import sys

from store_rows import rows


def stored(workspace):
    store = pathlib.Path(workspace) / "store"
    receipts = [*rows(store / "receipts", None)]
    loads = {row["load_id"] for row in receipts}
    units = {}
    for row in rows(store / "units", None):
        units.setdefault((row["load_id"], row["visit_id"], row["revision"]), []).append(row)
    visits = [
        record(row, units[row["load_id"], row["visit_id"], row["revision"]])
        for row in rows(store / "visits", None)
        if row["load_id"] in loads
    ]
    held = [row for row in rows(store / "held", ["load_id", "line", "reasons"]) if row["load_id"] in loads]
    told = ("file_name", "received", "accepted", "duplicate", "held")
    return {
        "receipts": [{name: row[name] for name in told} for row in receipts],
        "visits": sorted(visits, key=lambda visit: visit["visit_id"]),
        "held": [json.loads(row["reasons"]) for row in sorted(held, key=lambda row: row["line"])],
    }


def record(row, units):
    """A visit's row and the rows of its units as the record that they came from."""
    of_field = {"county_id": "county_id_stated"}
    names = ("field_id", "lon", "lat", "area_ha", "crop_type", "farm_id", "county_id", "outline")
    field = {name: row[of_field.get(name, name)] for name in names}
    return without_nulls(
        {
            "visit_id": row["visit_id"],
            "revision": row["revision"],
            "observed_on": row["observed_on"].isoformat(),
            "submitted_at": row["submitted_at"].isoformat().replace("+00:00", "Z"),
            "observer_id": row["observer_id"],
            "field": without_nulls(field),
            "protocol": row["protocol"],
            "crop_stage": row["crop_stage_stated"],
            "treated_on": row["treated_on"] and row["treated_on"].isoformat(),
            "treatment": row["treatment"],
            "economics": {
                name: {number: row[f"{name}_{number}"], "per": row[f"{name}_per"], **currency(row, name)}
                for name, number in [
                    ("treatment_cost", "amount"),
                    ("market_value", "amount"),
                    ("plant_population", "count"),
                ]
            },
            "sites": sites(units, row["count_form"]),
            "remarks": row["remarks"],
            "retracted": row["retracted"] or None,
        }
    )


def currency(row, name):
    key = f"{name}_currency"
    return {"currency": row[key]} if key in row else {}


def sites(units, form):
    by_site = {}
    for unit in sorted(units, key=lambda unit: (unit["site"], unit["unit"])):
        site = {"site": unit["site"], "side": unit["side"], "lon": unit["site_lon"], "lat": unit["site_lat"]}
        counts = unit["counts"]
        of_form = {
            "heads": lambda: counts,
            "plants": lambda: counts[0],
            "traps": lambda: {"catch": counts[0], "nights": unit["nights"]},
        }
        by_site.setdefault(unit["site"], without_nulls(site)).setdefault(form, []).append(of_form[form]())
    return list(by_site.values())


def without_nulls(members):
    return {name: value for name, value in members.items() if value is not None}


print(json.dumps([stored(workspace) for workspace in sys.argv[1:]]))
