"""NDJSON to Parquet by Polars: what `bractline load` does, as good a script as we can write.

The same work as duckdb_load.py, with the same outputs. Form is checked line by line by msgspec, since Polars
reads no file with a line that is no JSON; a repeated member shows in the number of keys of the text. What is
left, the engine does. With --trusting it checks nothing: it needs a file without a fault.
"""

import argparse
import io
import json
import pathlib

import msgspec
import numpy as np
import polars as pl
import shapely

from common import AREA, COST, HA_OF_ACRE, KG_OF_LB, MARKET, PLANTS, SEASON, counties
from record import Visit

MONEY = pl.Struct({"amount": pl.Float64, "per": pl.String, "currency": pl.String})
SCHEMA = {
    "schema_version": pl.String, "visit_id": pl.String, "revision": pl.Int32,
    "observed_on": pl.String, "submitted_at": pl.String, "observer_id": pl.String,
    "field": pl.Struct({
        "field_id": pl.String, "lon": pl.Float64, "lat": pl.Float64, "area_ha": pl.Float64,
        "crop_type": pl.String, "farm_id": pl.String, "county_id": pl.String,
        "outline": pl.Struct({
            "type": pl.String, "coordinates": pl.List(pl.List(pl.List(pl.Float64))),
        }),
    }),
    "protocol": pl.String, "crop_stage": pl.String,
    "economics": pl.Struct({
        "treatment_cost": MONEY, "market_value": MONEY,
        "plant_population": pl.Struct({"count": pl.Float64, "per": pl.String}),
    }),
    "sites": pl.List(pl.Struct({
        "site": pl.Int32, "side": pl.String, "lon": pl.Float64, "lat": pl.Float64,
        "heads": pl.List(pl.List(pl.Int32)),
    })),
    "remarks": pl.String, "retracted": pl.Boolean,
}
COST_PER_ACRE = pl.col("treatment_cost_amount") * (
    pl.when(pl.col("treatment_cost_per") == "acre").then(1.0).otherwise(HA_OF_ACRE)
)
VALUE_PER_LB = pl.col("market_value_amount") * (
    pl.when(pl.col("market_value_per") == "lb").then(1.0).otherwise(KG_OF_LB)
)
PLANTS_PER_ACRE = pl.col("plant_population_count") * (
    pl.when(pl.col("plant_population_per") == "acre").then(1.0).otherwise(HA_OF_ACRE)
)


def sound_lines(content):
    """The lines that have the form of a visit, with their number; and the others with their reason."""
    decoder = msgspec.json.Decoder(Visit)
    lines, numbers, keys, held = [], [], [], []
    for number, line in enumerate(content.split(b"\n"), 1):
        if not line:
            continue
        try:
            decoder.decode(line)
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
            held.append((number, line, str(error)))
            continue
        lines.append(line)
        numbers.append(number)
        # An escaped quotation mark before a colon is inside a text.
        keys.append(line.count(b'":') - line.count(b'\\":'))
    return lines, numbers, keys, held


def present(column):
    return column.is_not_null().cast(pl.Int32)


def read(lines, numbers, keys):
    """The lines as typed columns, the structs of a visit taken apart."""
    table = pl.read_ndjson(io.BytesIO(b"\n".join(lines)), schema=SCHEMA)
    economics, field = pl.col("economics").struct, pl.col("field").struct
    return table.select(
        pl.Series("line", numbers, pl.Int64, strict=False),
        *([pl.Series("keys", keys, pl.Int32)] if keys else []),
        pl.exclude("field", "economics"),
        *(field.field(name) for name in ("field_id", "farm_id", "lon", "lat", "area_ha", "crop_type", "outline")),
        field.field("county_id").alias("county_id_stated"),
        *(
            economics.field(member).struct.field(name).alias(f"{member}_{name}")
            for member, names in (
                ("treatment_cost", ("amount", "per", "currency")),
                ("market_value", ("amount", "per", "currency")),
                ("plant_population", ("count", "per")),
            )
            for name in names
        ),
    )


def with_counties(table, region):
    """The county of each point; of several the lowest id."""
    names, shapes = [], []
    for county_id, polygons in counties(region).items():
        for rings in polygons:
            names.append(county_id)
            shapes.append(shapely.Polygon(rings[0], rings[1:]))
    points = table.select("lon", "lat").unique(maintain_order=True)
    places, found = shapely.STRtree(shapes).query(
        shapely.points(points["lon"].to_numpy(), points["lat"].to_numpy()), predicate="intersects"
    )
    lowest = (
        pl.DataFrame({"place": places, "county_id": np.array(names)[found]})
        .group_by("place").agg(pl.col("county_id").min())
    )
    located = points.with_row_index("place").join(
        lowest.with_columns(pl.col("place").cast(pl.UInt32)), on="place", how="left"
    )
    return table.join(located.drop("place"), on=["lon", "lat"], how="left", maintain_order="left")


def units_of(table):
    """A row a head."""
    sites = table.select("line", pl.col("sites")).explode("sites").unnest("sites")
    return sites.with_columns(
        pl.int_ranges(1, pl.col("heads").list.len() + 1).alias("unit")
    ).explode("heads", "unit").rename({"heads": "counts"}).with_columns(
        pl.col("counts").list.sum().cast(pl.Int64).alias("total")
    )


def statistics_of(units):
    """The sampling statistics of each visit."""
    sites = units.group_by("line", "site", maintain_order=True).agg(
        pl.col("total").mean().alias("mean"),
        pl.len().alias("units"),
        (pl.col("total").var(ddof=0) * pl.len()).alias("deviations"),
        pl.col("total").sum(),
    )
    return sites.group_by("line", maintain_order=True).agg(
        pl.len().alias("sites"),
        pl.col("units").sum(),
        pl.col("total").sum(),
        pl.col("mean").mean().alias("field_mean"),
        pl.col("mean").var().alias("variance_between_sites"),
        (pl.col("deviations").sum() / (pl.col("units").sum() - pl.len())).alias("variance_within_sites"),
        (pl.col("mean").std() / pl.len().sqrt()).alias("standard_error"),
    )


def reasons(table):
    """Why a record is held, as text; empty where it is sound."""
    site_keys = (
        pl.col("sites").list.eval(
            2 + present(pl.element().struct.field("side")) + present(pl.element().struct.field("lon"))
            + present(pl.element().struct.field("lat"))
        ).list.sum()
    )
    expected = (
        # 10 members of a visit, 5 of its field, and 1 + 11 of its economics.
        27
        + sum(present(pl.col(name)) for name in ("remarks", "retracted", "farm_id", "county_id_stated"))
        + 3 * present(pl.col("outline")) + site_keys
    )
    numbers = pl.col("sites").list.eval(pl.element().struct.field("site"))
    pairs = pl.col("sites").list.eval(
        pl.element().struct.field("lon").is_null() == pl.element().struct.field("lat").is_null()
    )
    rules = {
        "members": pl.col("keys") == expected,
        "day": pl.col("observed_on").str.to_date("%Y-%m-%d", strict=False).is_not_null(),
        "moment": pl.col("submitted_at").str.slice(0, 10).str.to_date("%Y-%m-%d", strict=False).is_not_null(),
        "season": pl.col("observed_on").str.slice(5).is_between(pl.lit(SEASON[0]), pl.lit(SEASON[1])),
        "submission": pl.col("observed_on") <= pl.col("submitted_at").str.slice(0, 10),
        "area": pl.col("area_ha").is_between(*AREA),
        "cost": COST_PER_ACRE.is_between(*COST),
        "price": VALUE_PER_LB.is_between(*MARKET),
        "plants": PLANTS_PER_ACRE.is_between(*PLANTS),
        "site-repeated": numbers.list.n_unique() == numbers.list.len(),
        "site-point": pairs.list.all(),
        "county": pl.col("county_id").is_not_null(),
    }
    return pl.concat_str(
        pl.when(rule.fill_null(False)).then(pl.lit("")).otherwise(pl.lit(f"{name} "))
        for name, rule in rules.items()
    ).alias("reasons")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("file")
    parser.add_argument("region")
    parser.add_argument("out", type=pathlib.Path)
    parser.add_argument("--trusting", action="store_true")
    given = parser.parse_args()

    content = pathlib.Path(given.file).read_bytes()
    if given.trusting:
        table = read([content], range(1, content.count(b"\n") + 1), None)
        held, received = [], len(table)
    else:
        lines, numbers, keys, held = sound_lines(content)
        received = len(lines) + len(held)
        table = read(lines, numbers, keys)
    table = with_counties(table, given.region)
    if given.trusting:
        sound = table
    else:
        table = table.with_columns(reasons(table))
        text = dict(zip(numbers, lines))
        unsound = table.filter(pl.col("reasons") != "").select("line", "reasons")
        held += [(line, text[line], reason) for line, reason in unsound.rows()]
        sound = table.filter(pl.col("reasons") == "")
    # Of the same visit and revision the first counts; the same content is a duplicate, other content a conflict.
    key = ["visit_id", "revision"]
    accepted = sound.unique(key, keep="first", maintain_order=True)
    later = sound.join(accepted, on="line", how="anti")
    content_of = [name for name in sound.columns if name not in ("line", "keys")]
    conflicts = later.join(accepted, on=content_of, how="anti", nulls_equal=True) if len(later) else later

    units = units_of(accepted)
    day = pl.col("observed_on").str.to_date("%Y-%m-%d")
    visits = accepted.drop("sites", "keys", "reasons", strict=False).join(
        statistics_of(units), on="line", maintain_order="left"
    ).with_columns(
        pl.col("retracted").fill_null(False),
        day.dt.strftime("%G-W%V").alias("iso_week"),
        day.dt.iso_year().alias("season"),
        day,
        pl.col("submitted_at").str.to_datetime(time_zone="UTC"),
        pl.col("outline").struct.json_encode(),
        (COST_PER_ACRE / HA_OF_ACRE).alias("treatment_cost_per_ha"),
        (VALUE_PER_LB / KG_OF_LB).alias("market_value_per_kg"),
        (PLANTS_PER_ACRE / HA_OF_ACRE).alias("plants_per_ha"),
    )
    units = units.join(
        visits.select("line", "visit_id", "revision", "season"), on="line", maintain_order="left"
    ).drop("line")
    for name, rows in (("visits", visits), ("units", units)):
        for (season,), part in rows.partition_by("season", as_dict=True).items():
            folder = given.out / name / f"season={season}"
            folder.mkdir(parents=True)
            part.drop("season").write_parquet(folder / "part.parquet", compression="zstd", compression_level=1)
    if held:
        pl.DataFrame(held, schema={"line": pl.Int64, "record": pl.Binary, "reasons": pl.String}, orient="row").write_parquet(
            given.out / "held.parquet", compression="zstd", compression_level=1
        )
    print(json.dumps({"received": received, "accepted": len(accepted), "held": len(held) + len(conflicts)}))


if __name__ == "__main__":
    main()
