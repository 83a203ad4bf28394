-- The newest week of a package that `bractline export` made, with DuckDB: how many fields are at threshold, and where
-- the median pressure is highest. Run it in the folder of the package: duckdb -csv < newest_week.sql
with shown as (
    select *
    from read_parquet('county_week.parquet')
    where
        iso_week = (select max(iso_week) from read_parquet('county_week.parquet'))
        -- A suppressed row has no figure, and one whose fields all lay outside the stage window no median.
        and median_pressure is not null
)

select
    printf(
        '%s: %d of %d fields in %d counties at threshold; highest median %.2f in %s',
        max(iso_week),
        cast(sum(fields_at_threshold) as bigint),
        cast(sum(fields_visited) as bigint),
        count(*),
        max(median_pressure),
        first(county_name order by median_pressure desc, county_id)
    ) as newest_week
from shown
