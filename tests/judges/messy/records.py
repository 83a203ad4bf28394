"""Visits as records of the schema, for offices that send JSON."""

import json
from pathlib import Path

from visits import SUBMITTED


def record(visit, visit_id=None, submitted_at=SUBMITTED, revision=1):
    amounts = {
        "treatment_cost": ("amount", visit["treatment_cost"]),
        "market_value": ("amount", visit["market_value"]),
        "plant_population": ("count", visit["plant_population"]),
    }
    economics = {
        name: {number: values[0], "per": values[1]} | ({"currency": values[2]} if len(values) > 2 else {})
        for name, (number, values) in amounts.items()
    }
    return {
        "schema_version": "1.0",
        "visit_id": visit_id or f"app:{visit['field_id']}:{visit['observed_on']}",
        "revision": revision,
        "observed_on": visit["observed_on"],
        "submitted_at": submitted_at,
        "observer_id": visit["observer_id"],
        "field": {name: visit[name] for name in ("field_id", "lon", "lat", "area_ha", "crop_type")},
        "protocol": "bsm-eggs",
        "crop_stage": visit["crop_stage"],
        "economics": economics,
        "sites": [{"site": site, "heads": heads} for site, heads in visit["counts"].items()],
    }


def ndjson(path, visits, prefix="app", **how):
    lines = [json.dumps(record(visit, f"{prefix}{place}", **how)) for place, visit in enumerate(visits)]
    Path(path).write_text("\n".join(lines) + "\n", "utf-8")
