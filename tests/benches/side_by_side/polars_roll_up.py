"""Roll-up to county-weeks by Polars, from the raw counts in the Parquet files of a bractline store."""

import argparse
import pathlib

import polars as pl

from common import KG_OF_LB

Z = 1.959963984540054
CELL = ["county_id", "season", "iso_week", "protocol"]


def files(store, table):
    return [
        path for path in sorted((store / table).rglob("*.parquet"))
        if "_delta_log" not in path.relative_to(store).parts
    ]


def scan(store, table):
    receipts = pl.read_parquet(files(store, "receipts"), columns=["load_id"])
    rows = pl.scan_parquet(files(store, table), hive_partitioning=True)
    return rows.filter(pl.col("load_id").is_in(receipts["load_id"].implode()))


def field_weeks(store):
    """The reference visit of each field, week and protocol, with its pressure."""
    means = (
        scan(store, "units")
        .with_columns(pl.col("counts").list.sum().alias("eggs"))
        .group_by("visit_id", "revision", "site").agg(pl.col("eggs").mean())
        .group_by("visit_id", "revision").agg(pl.col("eggs").mean().alias("mean"))
    )
    eil = pl.col("treatment_cost_per_ha") / (
        pl.col("market_value_per_kg") * pl.col("plants_per_ha") * 0.00078 * KG_OF_LB
    )
    visits = scan(store, "visits").select(
        "visit_id", "revision", "retracted", "field_id", "farm_id", "area_ha", "observed_on", *CELL,
        "treatment_cost_amount", "market_value_amount", "plant_population_count",
        eil.alias("eil"), pl.col("crop_stage").is_in(["R2", "R3"]).alias("in_window"),
    )
    return (
        visits.join(means, on=["visit_id", "revision"], how="left")
        .sort("revision", descending=True).unique("visit_id", keep="first", maintain_order=True)
        .filter(~pl.col("retracted"))
        .with_columns((pl.col("mean") / pl.col("eil")).alias("pressure"))
        .sort("in_window", "observed_on", "visit_id", descending=True)
        .unique(["field_id", "iso_week", "protocol"], keep="first", maintain_order=True)
        .with_columns((pl.col("pressure") >= 1 - 1e-12).alias("at"))
    )


def county_weeks(fields):
    inside = pl.col("in_window")
    at = inside & pl.col("at")
    pressure = pl.col("pressure").filter(inside)
    assumed = (
        pl.col("treatment_cost_amount").is_null() | pl.col("market_value_amount").is_null()
        | pl.col("plant_population_count").is_null()
    )
    figures = fields.group_by(CELL).agg(
        inside.sum().cast(pl.Int64).alias("fields_visited"),
        at.sum().cast(pl.Int64).alias("fields_at_threshold"),
        pressure.mean().alias("mean_pressure"),
        pressure.quantile(0.5, "linear").alias("median_pressure"),
        pressure.quantile(0.9, "linear").alias("p90_pressure"),
        pressure.max().alias("max_pressure"),
        (pl.col("area_ha").filter(at).sum() / pl.col("area_ha").filter(inside).sum())
        .alias("area_share_at_threshold"),
        (~inside).sum().cast(pl.Int64).alias("fields_outside_stage"),
        (inside & assumed).sum().cast(pl.Int64).alias("fields_with_assumed_economics"),
    )
    n, at = pl.col("fields_visited"), pl.col("fields_at_threshold")
    share = pl.when(n > 0).then(at / n)
    scale = 1 + Z * Z / n
    centre = (share + Z * Z / (2 * n)) / scale
    half = Z * (share * (1 - share) / n + Z * Z / (4 * n * n)).sqrt() / scale
    figures = figures.with_columns(
        share.alias("share_at_threshold"),
        pl.when(n > 0).then(pl.when(at == 0).then(0.0).otherwise(centre - half)).alias("share_low"),
        pl.when(n > 0).then(pl.when(at == n).then(1.0).otherwise(centre + half)).alias("share_high"),
        pl.when(n > 0).then(pl.col("area_share_at_threshold")),
    )
    shown = (
        "fields_visited", "fields_at_threshold", "share_at_threshold", "share_low", "share_high",
        "mean_pressure", "median_pressure", "p90_pressure", "max_pressure", "area_share_at_threshold",
        "fields_outside_stage", "fields_with_assumed_economics",
    )
    return figures.select(*CELL, *shown).sort("county_id", "iso_week", "protocol")


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("store", type=pathlib.Path)
    parser.add_argument("out", type=pathlib.Path)
    given = parser.parse_args()
    table = county_weeks(field_weeks(given.store)).collect()
    given.out.mkdir(parents=True, exist_ok=True)
    table.write_csv(given.out / "county_week.csv")
    table.write_parquet(given.out / "county_week.parquet")


if __name__ == "__main__":
    main()
