"""NDJSON to Parquet by DuckDB: what `bractline load` does, as good a script as we can write.

It checks what the schema and the trade rules of the protocol bsm-eggs ask: lines that are no JSON; members
unknown, missing, repeated, null or of the wrong type; lengths, ranges and forms; the season, the stage, six
bracts, plausible amounts. Then the county of the point, the sampling statistics, duplicates and conflicts, and
`visits` (a row a visit), `units` (a row a head) and `held` as Parquet. With --trusting it checks nothing, and
only reads, locates, computes, removes duplicates and writes.

Types and unknown members cost one look a distinct structure (`json_structure`), of which a million visits have
some hundred; a repeated member shows in the number of keys of the text. The rest is SQL over typed columns. A
whole number written 3.0, which the schema takes, is refused: the generated file has none.
"""

import argparse
import json

import duckdb

from common import (
    AREA, COST, CROP_TYPES, DAY, HA_OF_ACRE, INSTANT, KG_OF_LB, MARKET, PLANTS, SEASON, STAGE, edges,
)

AMOUNT = "STRUCT(amount DOUBLE, per VARCHAR, currency VARCHAR)"
TYPES = {
    "schema_version": "VARCHAR", "visit_id": "VARCHAR", "revision": "INTEGER",
    "observed_on": "VARCHAR", "submitted_at": "VARCHAR", "observer_id": "VARCHAR",
    "field": "STRUCT(field_id VARCHAR, lon DOUBLE, lat DOUBLE, area_ha DOUBLE, crop_type VARCHAR,"
             " farm_id VARCHAR, county_id VARCHAR, outline STRUCT(type VARCHAR, coordinates DOUBLE[][][]))",
    "protocol": "VARCHAR", "crop_stage": "VARCHAR",
    "economics": f"STRUCT(treatment_cost {AMOUNT}, market_value {AMOUNT},"
                 " plant_population STRUCT(count DOUBLE, per VARCHAR))",
    "sites": "STRUCT(site INTEGER, side VARCHAR, lon DOUBLE, lat DOUBLE, heads INTEGER[][])[]",
    "remarks": "VARCHAR", "retracted": "BOOLEAN",
}
COLUMNS = "{" + ", ".join(f"{name}: '{kind}'" for name, kind in TYPES.items()) + "}"

# The schema as json_structure tells types: what may stand there, and what must.
WHOLE, NUMBER, TEXT = {"UBIGINT"}, {"UBIGINT", "BIGINT", "DOUBLE"}, {"VARCHAR"}
MONEY = {"amount": NUMBER, "per": TEXT, "currency": TEXT}
MEMBERS = {
    "schema_version": TEXT, "visit_id": TEXT, "revision": WHOLE, "observed_on": TEXT,
    "submitted_at": TEXT, "observer_id": TEXT,
    "field": {"field_id": TEXT, "lon": NUMBER, "lat": NUMBER, "area_ha": NUMBER, "crop_type": TEXT,
              "farm_id": TEXT, "county_id": TEXT,
              "outline": {"type": TEXT, "coordinates": [[[NUMBER]]]}},
    "protocol": TEXT, "crop_stage": TEXT,
    "economics": {"treatment_cost": MONEY, "market_value": MONEY,
                  "plant_population": {"count": NUMBER, "per": TEXT}},
    "sites": [{"site": WHOLE, "side": TEXT, "lon": NUMBER, "lat": NUMBER, "heads": [[WHOLE]]}],
    "remarks": TEXT, "retracted": {"BOOLEAN"},
}


def sound(structure, wanted):
    """Whether a structure has only known members, each of its type. What must be there is asked in SQL."""
    if isinstance(wanted, dict):
        return isinstance(structure, dict) and all(
            name in wanted and sound(kind, wanted[name]) for name, kind in structure.items()
        )
    if isinstance(wanted, list):
        return isinstance(structure, list) and all(sound(kind, wanted[0]) for kind in structure)
    return isinstance(structure, str) and structure in wanted


# Keys of the text, and of the members that are there. An escaped quotation mark before a colon is inside a text.
KEYS_OF_TEXT = r"""(
    (strlen(json) - strlen(replace(json, '":', ''))) // 2
    - (strlen(json) - strlen(replace(json, '\":', ''))) // 3
)"""
PRESENT = ["remarks", "retracted", "economics", "field.farm_id", "field.county_id"]
KEYS_EXPECTED = (
    "10 + 5 + " + " + ".join(f"({name} is not null)::int" for name in PRESENT)
    + " + 3 * (field.outline is not null)::int"
    + " + 4 * (economics.treatment_cost is not null)::int + 4 * (economics.market_value is not null)::int"
    + " + 3 * (economics.plant_population is not null)::int + site_keys"
)


def text(name, needed=True):
    """Of 1 to 200 characters, no control character, no blank at either end."""
    rule = (
        f"length({name}) between 1 and 200 and trim({name}, ' ') = {name}"
        f" and not regexp_matches({name}, '[\\x00-\\x1f\\x7f-\\x{{9f}}]')"
    )
    return f"({rule})" if needed else f"({name} is null or ({rule}))"


def between(value, bounds):
    return f"({value} between {bounds[0]} and {bounds[1]})"


COST_PER_ACRE = f"cost.amount * (case cost.per when 'acre' then 1 when 'ha' then {HA_OF_ACRE} end)"
VALUE_PER_LB = f"price.amount * (case price.per when 'lb' then 1 when 'kg' then {KG_OF_LB} end)"
PLANTS_PER_ACRE = f"stand.count * (case stand.per when 'acre' then 1 when 'ha' then {HA_OF_ACRE} end)"

RULES = {
    "not-json": "json is not null and utf8 is not null",
    "structure": "structure_sound",
    "members": f"keys = {KEYS_EXPECTED}",
    "schema-version": "schema_version = '1.0'",
    "texts": " and ".join(
        [text(name) for name in ("visit_id", "observer_id", "field.field_id")]
        + [text(name, needed=False) for name in ("field.farm_id", "field.county_id")]
    ),
    "revision": "revision between 1 and 1000000",
    "observed-on": f"regexp_matches(observed_on, '{DAY}') and try_cast(observed_on as date) is not null",
    "submitted-at": f"regexp_matches(submitted_at, '{INSTANT}')"
                    " and try_cast(submitted_at[:10] as date) is not null",
    "point": "field.lon between -180 and 180 and field.lat between -90 and 90",
    "area": between("field.area_ha", AREA),
    "crop-type": f"field.crop_type in {CROP_TYPES}",
    "outline": "field.outline is null or (field.outline.type = 'Polygon'"
               " and len(field.outline.coordinates) between 1 and 10000"
               " and list_bool_and(list_transform(field.outline.coordinates, lambda ring:"
               " len(ring) between 4 and 10000 and list_bool_and(list_transform(ring, lambda corner:"
               " len(corner) = 2 and abs(corner[1]) <= 180 and abs(corner[2]) <= 90)))))",
    "protocol": "protocol = 'bsm-eggs'",
    "stage": f"regexp_matches(crop_stage, '{STAGE}')",
    "season": f"observed_on[6:] between '{SEASON[0]}' and '{SEASON[1]}'",
    "submission": "observed_on <= submitted_at[:10]",
    "currency": "cost.currency = price.currency and cost.currency = 'USD'",
    "cost": between(COST_PER_ACRE, COST),
    "price": between(VALUE_PER_LB, MARKET),
    "plants": between(PLANTS_PER_ACRE, PLANTS),
    "remarks": "remarks is null or (length(remarks) <= 4000"
               " and not regexp_matches(remarks, '[\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f\\x7f-\\x{9f}]'))",
    "sites": "sites_sound",
    "county": "county_id is not null",
}

READ = f"""
create temp table raw as
select json from read_ndjson_objects($file, ignore_errors = true, maximum_object_size = 1048576);

create temp table parsed as
select
    line, json, utf8, structure, keys, unnest(visit),
    visit.economics.treatment_cost as cost,
    visit.economics.market_value as price,
    visit.economics.plant_population as stand
from (
    select
        rowid + 1 as line,
        json,
        try(decode(encode(json::varchar))) as utf8,
        try(json_structure(json)::varchar) as structure,
        {KEYS_OF_TEXT} as keys,
        try(json_transform(json, $types)) as visit
    from raw
);
"""

READ_TRUSTING = f"""
create temp table parsed as
select
    row_number() over () as line, null as json, *,
    economics.treatment_cost as cost,
    economics.market_value as price,
    economics.plant_population as stand
from read_ndjson($file, columns = {COLUMNS}, ignore_errors = true, maximum_object_size = 1048576);
"""

UNITS = """
create temp table head as
select
    line, site.site as site, site.side as side, site.lon as site_lon, site.lat as site_lat,
    unnest(site.heads) as counts, generate_subscripts(site.heads, 1) as unit
from (select line, unnest(sites) as site from parsed);

create temp table unit as
select *, list_sum(counts)::bigint as total from head;

create temp table site_figure as
select line, site, avg(total) as mean, var_pop(total) * count(*) as deviations, count(*) as units,
    sum(total)::bigint as total
from unit
group by line, site;

create temp table statistics as
select
    line, count(*) as sites, sum(units)::int as units, sum(total)::bigint as total,
    avg(mean) as field_mean,
    var_samp(mean) as variance_between_sites,
    sum(deviations) / nullif(sum(units) - count(*), 0) as variance_within_sites,
    stddev_samp(mean) / sqrt(count(*)) as standard_error
from site_figure
group by line;
"""

SITES_SOUND = f"""
create temp table sites_sound as
with
    of_heads as (
        select
            line,
            bool_and(len(counts) = 6 and list_min(counts) >= 0 and list_max(counts) <= 1000000
                and list_count(counts) = 6) as heads_sound
        from head
        group by line
    ),
    of_sites as (
        select
            line,
            count(*) as sites,
            count(distinct site.site) as site_numbers,
            sum(2 + (site.side is not null)::int + (site.lon is not null)::int
                + (site.lat is not null)::int)::int as site_keys,
            bool_and(
                site.site between 1 and 1000000 and len(site.heads) between 1 and 10000
                and {text("site.side", needed=False)}
                and (site.lon is null) = (site.lat is null)
                and (site.lon is null or (abs(site.lon) <= 180 and abs(site.lat) <= 90))
            ) as each_sound
        from (select line, unnest(sites) as site from parsed)
        group by line
    )
select
    line, site_keys,
    coalesce(each_sound and heads_sound and sites = site_numbers and sites <= 10000, false)
        as sites_sound
from of_sites
left join of_heads using (line);
"""

# A ray to the east: odd crossings are inside. Of several counties the lowest id.
COUNTY = """
create temp table county_of_point as
select lon, lat, min(county_id) as county_id
from (
    select lon, lat, county_id
    from (select distinct field.lon as lon, field.lat as lat from parsed) as point
    join edge on lon between min_x and max_x and lat between min_y and max_y
    group by lon, lat, county_id
    having count(*) filter (
        (y1 > lat) <> (y2 > lat) and lon < (x2 - x1) * (lat - y1) / (y2 - y1) + x1
    ) % 2 = 1
)
group by lon, lat;
"""

JUDGED = """
create temp table judged as
select line, visit_id, revision, county_id, {reasons} as reasons
from parsed
left join county_of_point on field.lon = county_of_point.lon and field.lat = county_of_point.lat
{joins};
"""

# Of the same visit and revision the first counts; the same content is a duplicate, other content a conflict.
IDENTITY = """
create temp table ranked as
select line, county_id, first_value(line) over (partition by visit_id, revision order by line) as first_line
from judged
where reasons = '';

create temp table accepted as select line, county_id from ranked where line = first_line;

create temp table conflict as
select later.line
from ranked
join parsed as later using (line)
join parsed as earlier on earlier.line = first_line
where ranked.line <> first_line and not ({same});
"""
CONTENT = [name for name in TYPES]

VISITS = f"""
copy (
    select
        line, visit_id, revision, coalesce(retracted, false) as retracted,
        observed_on::date as observed_on, strftime(observed_on::date, '%G-W%V') as iso_week,
        submitted_at::timestamptz as submitted_at, observer_id,
        field.field_id, field.farm_id, field.lon, field.lat, county_id, field.area_ha,
        to_json(field.outline)::varchar as outline, field.crop_type, protocol, crop_stage,
        cost.amount as treatment_cost_amount, cost.per as treatment_cost_per, cost.currency as currency,
        {COST_PER_ACRE} / {HA_OF_ACRE} as treatment_cost_per_ha,
        price.amount as market_value_amount, price.per as market_value_per,
        {VALUE_PER_LB} / {KG_OF_LB} as market_value_per_kg,
        stand.count as plant_population_count, stand.per as plant_population_per,
        {PLANTS_PER_ACRE} / {HA_OF_ACRE} as plants_per_ha,
        statistics.* exclude (line), remarks,
        strftime(observed_on::date, '%G')::int as season
    from parsed
    join accepted using (line)
    join statistics using (line)
) to '{{out}}/visits' (format parquet, partition_by (season), compression zstd, compression_level 1);
"""
UNITS_OUT = """
copy (
    select visit_id, revision, unit.site, side, site_lon, site_lat, unit, total, counts,
        observed_on[:4]::int as season
    from unit
    join accepted using (line)
    join parsed using (line)
) to '{out}/units' (format parquet, partition_by (season), compression zstd, compression_level 1);
"""
HELD_OUT = """
copy (
    select line, json, reasons from judged join parsed using (line) where reasons <> ''
    union all
    select line, json, 'revision-conflict' from conflict join parsed using (line)
) to '{out}/held.parquet' (format parquet, compression zstd, compression_level 1);
"""


def judge_structures(database):
    """One look at each distinct structure."""
    found = database.sql("select distinct structure from parsed where structure is not null").fetchall()
    database.execute("create temp table structure_seen (structure varchar, structure_sound boolean)")
    database.executemany(
        "insert into structure_seen values (?, ?)",
        [(structure, sound(json.loads(structure), MEMBERS)) for (structure,) in found],
    )


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("file")
    parser.add_argument("region")
    parser.add_argument("out")
    parser.add_argument("--trusting", action="store_true")
    given = parser.parse_args()

    database = duckdb.connect()
    database.execute("set preserve_insertion_order = true")
    database.execute(
        "create temp table edge (county_id text, x1 double, y1 double, x2 double, y2 double,"
        " min_x double, min_y double, max_x double, max_y double)"
    )
    database.executemany("insert into edge values (?, ?, ?, ?, ?, ?, ?, ?, ?)", edges(given.region))
    if given.trusting:
        database.execute(READ_TRUSTING, {"file": given.file})
    else:
        first, second = READ.split(";\n\n")
        database.execute(first, {"file": given.file})
        database.execute(second, {"types": json_types()})
        judge_structures(database)
    database.execute(UNITS)
    database.execute(COUNTY)
    if given.trusting:
        reasons, joins = "case when visit_id is null then 'not-json' else '' end", ""
    else:
        database.execute(SITES_SOUND)
        reasons = ", ".join(
            f"case when ({rule}) is not true then '{name} ' end" for name, rule in RULES.items()
        )
        reasons = f"concat({reasons})"
        joins = "left join sites_sound using (line) left join structure_seen using (structure)"
    database.execute(JUDGED.format(reasons=reasons, joins=joins))
    same = " and ".join(f"later.{name} is not distinct from earlier.{name}" for name in CONTENT)
    database.execute(IDENTITY.format(same=same))
    for statement in (VISITS, UNITS_OUT, HELD_OUT):
        database.execute(statement.format(out=given.out))
    [(received, held)] = database.sql(
        "select count(*), count(*) filter (reasons <> '') from judged"
    ).fetchall()
    [(accepted,)] = database.sql("select count(*) from accepted").fetchall()
    [(conflicts,)] = database.sql("select count(*) from conflict").fetchall()
    print(json.dumps({"received": received, "accepted": accepted, "held": held + conflicts}))


def json_types():
    """The columns as json_transform wants them."""
    money = {"amount": "DOUBLE", "per": "VARCHAR", "currency": "VARCHAR"}
    return json.dumps({
        **{name: kind for name, kind in TYPES.items() if kind in ("VARCHAR", "INTEGER", "BOOLEAN")},
        "field": {"field_id": "VARCHAR", "lon": "DOUBLE", "lat": "DOUBLE", "area_ha": "DOUBLE",
                  "crop_type": "VARCHAR", "farm_id": "VARCHAR", "county_id": "VARCHAR",
                  "outline": {"type": "VARCHAR", "coordinates": [[["DOUBLE"]]]}},
        "economics": {"treatment_cost": money, "market_value": money,
                      "plant_population": {"count": "DOUBLE", "per": "VARCHAR"}},
        "sites": [{"site": "INTEGER", "side": "VARCHAR", "lon": "DOUBLE", "lat": "DOUBLE",
                   "heads": [["INTEGER"]]}],
    })


if __name__ == "__main__":
    main()
