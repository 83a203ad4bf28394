-- The newest week of a package that `bractline export` made, with DuckDB: how many fields are at threshold, and the
-- highest class of the median pressure. Run it in the folder of the package: duckdb -csv < newest_week.sql
with newest as (
    select *
    from read_parquet('county_week.parquet')
    where iso_week = (select max(iso_week) from read_parquet('county_week.parquet'))
),

highest as (
    select
        median_class,
        count(*) as counties,
        min(county_name) as county_name
    from newest
    -- Fewer than five fields have no class, and fields that were all at another crop stage no median.
    where median_class is not null
    group by median_class
    -- A class is as high as its lower bound; below them all is the one in which nothing was found.
    order by max(case when median_class = 'nothing-found' then -1.0 else median_from end) desc, county_name asc
    limit 1
)

select
    printf(
        '%s: %d to %d of %d fields in %d counties at threshold; highest median %s in %d counties, first %s',
        max(newest.iso_week),
        cast(sum(newest.at_threshold_min) as bigint),
        cast(sum(newest.at_threshold_max) as bigint),
        cast(sum(newest.fields_visited) as bigint),
        count(*),
        first(highest.median_class),
        first(highest.counties),
        first(highest.county_name)
    ) as newest_week
from newest
cross join highest
