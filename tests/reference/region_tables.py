"""The region's tables recomputed from the county's and the field's, with pandas.

    region_tables.py FOLDER

FOLDER is what `bractline rollup` wrote. region_week's sums come from county_week.csv, region_pressure and
region_stage from field_week.parquet and the county-weeks that are shown. Shares no code with bractline.
"""

import sys
from pathlib import Path

import pandas as pd

KEY = ["iso_week", "protocol"]
BOUNDS = [0.0, 0.25, 0.5, 0.75, 1.0, 1.5]
# A tie may lie a last digit below its bound.
SLACK = 1e-12


def stage_group(stage):
    if stage.startswith("V"):
        return "V"
    return "R5" if stage.startswith("R5") else stage


def main(folder):
    counties = pd.read_csv(folder / "county_week.csv", dtype={"county_id": str})
    shown = counties[~counties.suppressed]
    fields = pd.read_parquet(folder / "field_week.parquet")
    fields = fields.merge(shown[[*KEY, "county_id"]], on=[*KEY, "county_id"])

    weeks = pd.read_csv(folder / "region_week.csv").set_index(KEY)
    for key, row in weeks.iterrows():
        of_week = shown[(shown.iso_week == key[0]) & (shown.protocol == key[1])]
        visited = int(of_week.fields_visited.sum())
        assert row.fields_visited == visited, (key, row, visited)
        at_threshold = int(of_week.fields_at_threshold.sum())
        assert row.fields_at_threshold == at_threshold, (key, row, at_threshold)
        if visited == 0:
            assert pd.isna(row.share_at_threshold) and pd.isna(row.mean_pressure), key
            continue
        assert abs(row.share_at_threshold - at_threshold / visited) < 1e-12, key
        mean = (of_week.mean_pressure * of_week.fields_visited).sum() / visited
        assert abs(row.mean_pressure - mean) < 1e-9, (key, row.mean_pressure, mean)

    inside = fields[fields.in_window].copy()
    inside["nothing_found"] = inside.pressure == 0
    lower = lambda pressure: max(bound for bound in BOUNDS if pressure + SLACK >= bound)
    inside["pressure_from"] = inside.pressure.map(lower)
    expected = inside.groupby([*KEY, "nothing_found", "pressure_from"]).size()
    found = pd.read_csv(folder / "region_pressure.csv")
    found = found.set_index([*KEY, "nothing_found", "pressure_from"]).fields
    assert expected.to_dict() == found.to_dict(), "region_pressure differs"
    assert found.groupby(KEY).sum().to_dict() == weeks[weeks.fields_visited > 0].fields_visited.to_dict()

    fields["crop_stage"] = fields.crop_stage.map(stage_group)
    groups = fields.groupby([*KEY, "crop_stage"]).in_window
    expected = pd.DataFrame({"fields": groups.size(), "fields_in_window": groups.sum()})
    found = pd.read_csv(folder / "region_stage.csv").set_index([*KEY, "crop_stage"])
    found = found[["fields", "fields_in_window"]]
    assert expected.astype(int).to_dict() == found.to_dict(), "region_stage differs"
    print(f"{len(weeks)} weeks, {int(weeks.fields_visited.sum())} fields in classes, {len(found)} stages: equal")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
