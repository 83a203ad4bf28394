"""County-weeks by DuckDB, straight from the Parquet files of a bractline store.

It shows that anyone can recompute every figure from the files: the field mean comes from the raw
counts in `units`, and is then held against the stored field_mean. Only Parquet is read; what the
Delta log says is not. So the store must not hold files that a compaction has replaced and no
vacuum has removed: a visit revision that appears twice ends the run.

It knows one protocol, bsm-eggs. It writes county_week_full.csv, with county_name if --boundaries says
where the names are, and prints how many visible visits it read.
"""

import argparse
import json
import pathlib

import duckdb

from boundaries import read_counties

TABLES = ("visits", "units", "receipts")
COUNTS = (
    "fields_visited", "farms_given", "farms", "fields_at_threshold", "fields_outside_stage",
    "fields_treated", "fields_with_assumed_economics",
)
HA_OF_ACRE = 0.40468564224
KG_OF_LB = 0.45359237
FIELD_MEAN_TOLERANCE = 1e-12

# Rows of a load without a receipt do not count.
VISIBLE = """
create view visible_visit as
select visits.* from visits where load_id in (select load_id from receipts);

create view visible_unit as
select units.* from units where load_id in (select load_id from receipts);
"""

# eggs per six bracts: head totals, then site means, then their mean
FIELD_MEAN = """
create table recomputed_mean as
with
    site_mean as (
        select visit_id, revision, site, avg(list_sum(counts)) as mean
        from visible_unit
        group by visit_id, revision, site
    )
select visit_id, revision, avg(mean) as mean
from site_mean
group by visit_id, revision;

create view visit_with_mean as
select visible_visit.*, recomputed_mean.mean as recomputed_mean
from visible_visit
left join recomputed_mean using (visit_id, revision);
"""

# Each query names rows that must not exist.
CHECKS = {
    "visit revisions that stand twice": """
        select visit_id, revision from visible_visit group by all having count(*) > 1
    """,
    "units that stand twice": """
        select visit_id, revision, site, unit from visible_unit group by all having count(*) > 1
    """,
    "units whose total is not the sum of their counts": """
        select visit_id, revision, site, unit from visible_unit
        where total is distinct from list_sum(counts)
    """,
    "visits without units, or whose field_mean is not the mean of their units": f"""
        select visit_id, revision, field_mean, recomputed_mean from visit_with_mean
        where recomputed_mean is null or field_mean is null
            or abs(field_mean - recomputed_mean) > {FIELD_MEAN_TOLERANCE} * abs(recomputed_mean)
    """,
    "visits whose ISO week or season is not that of observed_on": """
        select visit_id, revision from visible_visit
        where iso_week <> strftime(observed_on, '%G-W%V')
            or season <> cast(strftime(observed_on, '%G') as integer)
    """,
    "visits whose column assumed does not name what they lack": """
        select visit_id, revision, assumed from visible_visit
        where coalesce(assumed, '') <> concat_ws(
            ' ',
            case when treatment_cost_amount is null then 'treatment_cost' end,
            case when market_value_amount is null then 'market_value' end,
            case when plant_population_count is null then 'plant_population' end
        )
    """,
    "visits that assume other economics than the defaults of their crop type": """
        select visit_id, revision, crop_type
        from visible_visit
        left join default_economics using (crop_type)
        where
            (treatment_cost_amount is null
                and (abs(treatment_cost_per_ha / cost - 1) < 1e-12) is not true)
            or (market_value_amount is null
                and (abs(market_value_per_kg / value - 1) < 1e-12) is not true)
            or (plant_population_count is null
                and (abs(plants_per_ha / plants - 1) < 1e-12) is not true)
    """,
    "visits of a protocol that this reference does not know": """
        select visit_id, protocol from visible_visit where protocol <> 'bsm-eggs'
    """,
}

# 0.00078 lb of seed a plant for each egg per six bracts; one pound is 0.45359237 kg. Converting to
# hectares and kilograms rounds in the last digits, so a pressure within 1e-12 of 1 is at 1: no
# visit can lie that near without being exact.
COUNTY_WEEK = """
create table county_week as
with
    current_visit as (
        select * from visit_with_mean
        qualify row_number() over (partition by visit_id order by revision desc) = 1
    ),
    visit_pressure as (
        select
            *,
            recomputed_mean / (
                treatment_cost_per_ha
                / (market_value_per_kg * plants_per_ha * 0.00078::double * 0.45359237::double)
            ) as pressure,
            crop_stage in ('R2', 'R3') as at_stage,
            case
                when treated_on is null then coalesce(treatment, 'none') <> 'none'
                else date_diff('day', treated_on, observed_on) <= 14
            end as after_treatment,
            at_stage and not after_treatment as in_window
        from current_visit
        where not coalesce(retracted, false)
    ),
    field_week as (
        select *, pressure >= 1 - 1e-12 as at_threshold
        from visit_pressure
        qualify row_number() over (
            partition by field_id, iso_week, protocol
            order by in_window desc, at_stage desc, observed_on desc, visit_id desc
        ) = 1
    ),
    -- Farms are those of the fields within the window that follow no treatment; where there is none, of all of them.
    judged_field_week as (
        select
            *,
            in_window
            or not bool_or(in_window) over (partition by county_id, season, iso_week, protocol)
                as counted
        from field_week
    ),
    figure as (
        select
            county_id,
            season,
            iso_week,
            protocol,
            count(*) filter (in_window) as fields_visited,
            count(*) filter (in_window and at_threshold) as fields_at_threshold,
            avg(pressure) filter (in_window) as mean_pressure,
            quantile_cont(pressure, 0.5) filter (in_window) as median_pressure,
            quantile_cont(pressure, 0.9) filter (in_window) as p90_pressure,
            max(pressure) filter (in_window) as max_pressure,
            coalesce(sum(area_ha) filter (in_window and at_threshold), 0)
                / sum(area_ha) filter (in_window) as area_share_at_threshold,
            count(*) filter (not at_stage) as fields_outside_stage,
            count(*) filter (at_stage and not in_window) as fields_treated,
            count(*) filter (
                in_window
                and (
                    treatment_cost_amount is null
                    or market_value_amount is null
                    or plant_population_count is null
                )
            ) as fields_with_assumed_economics,
            count(farm_id) filter (counted) as farms_given,
            count(distinct farm_id) filter (counted)
                + count(*) filter (counted and farm_id is null) as farms
        from judged_field_week
        group by county_id, season, iso_week, protocol
    ),
    wilson as (
        select
            *,
            1.959963984540054::double as z,
            fields_at_threshold / nullif(fields_visited, 0)::double as share,
            1 + z * z / fields_visited as scale,
            (share + z * z / (2 * fields_visited)) / scale as centre,
            z * sqrt(
                share * (1 - share) / fields_visited + z * z / (4 * fields_visited * fields_visited)
            ) / scale as half
        from figure
    ),
    with_interval as (
        select
            *,
            case
                when fields_visited = 0 then null
                when fields_at_threshold = 0 then 0
                else centre - half
            end as share_low,
            case
                when fields_visited = 0 then null
                when fields_at_threshold = fields_visited then 1
                else centre + half
            end as share_high
        from wilson
    )
select
    county_id,
    season,
    iso_week,
    protocol,
    fields_visited,
    farms_given,
    farms,
    fields_at_threshold,
    share as share_at_threshold,
    share_low,
    share_high,
    mean_pressure,
    median_pressure,
    p90_pressure,
    max_pressure,
    area_share_at_threshold,
    fields_outside_stage,
    fields_treated,
    fields_with_assumed_economics
from with_interval
order by county_id, season, iso_week, protocol;
"""


def open_store(store):
    """The tables as views. The checkpoints in _delta_log are Parquet, too, but not rows of ours."""
    database = duckdb.connect()
    for table in TABLES:
        files = [
            str(path)
            for path in sorted((store / table).rglob("*.parquet"))
            if "_delta_log" not in path.relative_to(store).parts
        ]
        if not files:
            raise SystemExit(f"no Parquet file in {store / table}")
        relation = database.read_parquet(files, hive_partitioning=True, union_by_name=True)
        relation.create_view(table)
    return database


def add_defaults(database, defaults):
    """The default economics by crop type, in canonical units; null where there is none."""
    database.execute(
        "create table default_economics (crop_type text, cost double, value double, plants double)"
    )
    for crop_type, economics in defaults.items():
        cost, value, plants = (
            economics.get(name) for name in ("treatment_cost", "market_value", "plant_population")
        )
        per = {"acre": HA_OF_ACRE, "lb": KG_OF_LB, "ha": 1, "kg": 1}
        database.execute(
            "insert into default_economics values (?, ?, ?, ?)",
            [
                crop_type,
                cost and cost["amount"] / per[cost["per"]],
                value and value["amount"] / per[value["per"]],
                plants and plants["count"] / per[plants["per"]],
            ],
        )


def check(database):
    for what, query in CHECKS.items():
        rows = database.sql(query).fetchall()
        if rows:
            raise SystemExit(f"{len(rows)} {what}, such as {rows[0]}")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("store", type=pathlib.Path, help="folder with visits, units and receipts")
    parser.add_argument("--boundaries", help="GeoJSON or TopoJSON, for the names of counties")
    parser.add_argument("--id-property", help="default: the id of the feature itself")
    parser.add_argument("--name-property", default="name")
    parser.add_argument(
        "--defaults",
        type=json.loads,
        default={},
        help="JSON: the workspace's economics by crop type; what was assumed is held against them",
    )
    parser.add_argument("--out", type=pathlib.Path, default=pathlib.Path("."))
    given = parser.parse_args()

    database = open_store(given.store)
    database.execute(VISIBLE)
    database.execute(FIELD_MEAN)
    add_defaults(database, given.defaults)
    check(database)
    database.execute(COUNTY_WEEK)
    table = database.table("county_week").df()
    if given.boundaries:
        counties = read_counties(
            given.boundaries, id_property=given.id_property, name_property=given.name_property
        )
        table.insert(1, "county_name", table["county_id"].map(counties.names))
    for counts in COUNTS:
        table[counts] = table[counts].astype("Int64")

    given.out.mkdir(parents=True, exist_ok=True)
    table.to_csv(given.out / "county_week_full.csv", index=False, float_format="%.17g")
    [(visits, revisions)] = database.sql(
        "select count(distinct visit_id), count(*) from visible_visit"
    ).fetchall()
    print(json.dumps({"visits": visits, "revisions": revisions, "county_weeks": len(table)}))


if __name__ == "__main__":
    main()
