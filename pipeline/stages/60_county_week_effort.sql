-- The effort behind a county-week, and how far the mean of its pressures can be trusted: for the office only.
--
-- Records do not say how long a visit took, so effort is counted in visits, fields, sites and units. The standard
-- error is that between fields: it holds if the fields visited are like a random draw from the fields of the county,
-- which fields that people choose to visit are not. Sums are taken over decimals, which add up the same in any order.
--
-- grain:   one row per county, week and protocol
-- key:     county_id, iso_week, protocol
-- reads:   field_week, visit_pressure
-- privacy: private
-- columns:
--   county_id         text   not null  id of the county
--   season            int    not null  ISO week-year
--   iso_week          text   not null  name of the week: the ISO 8601 week that holds its middle day, as 2026-W30
--   protocol          text   not null  id of the protocol
--   fields            bigint not null  [{field}] fields with a visit, within the stage window or not
--   visits            bigint not null  [{visit}] visits of these fields that count, several visits of a field included
--   fields_visited    bigint not null  [{field}] fields with a visit within the stage window that follows no treatment
--   sites             bigint not null  [{site}] sites sampled in the reference visits of fields_visited
--   units             bigint not null  [{unit}] units examined there
--   mean_pressure     double null      [1] mean of the pressures of fields_visited
--   mean_pressure_se  double null      [1] standard error of mean_pressure between fields: the standard deviation of the pressures (divisor: fields less one) / the square root of fields_visited; null for fewer than two fields
-- checks:
--   visits >= fields
--   fields >= fields_visited
--   units >= sites
--   (mean_pressure_se is null) = (fields_visited < 2)
with counted as (
    select
        *,
        in_window and not after_treatment as is_counted
    from field_week
),

summed as (
    select
        county_id as county_id,
        season as season,
        iso_week as iso_week,
        protocol as protocol,
        count(*) as fields,
        count(*) filter (where is_counted) as fields_visited,
        coalesce(sum(sites) filter (where is_counted), 0) as sites,
        coalesce(sum(units) filter (where is_counted), 0) as units,
        cast(sum(cast(pressure as decimal(38, 15))) filter (where is_counted) as double)
        / cast(count(*) filter (where is_counted) as double) as mean_pressure
    from counted
    group by county_id, season, iso_week, protocol
),

spread as (
    select
        counted.county_id as county_id,
        counted.iso_week as iso_week,
        counted.protocol as protocol,
        cast(
            sum(
                cast(
                    (counted.pressure - summed.mean_pressure)
                    * (counted.pressure - summed.mean_pressure) as decimal(38, 15)
                )
            ) as double
        ) as squares
    from counted
    inner join summed
        on
            counted.county_id = summed.county_id
            and counted.iso_week = summed.iso_week
            and counted.protocol = summed.protocol
    where counted.is_counted
    group by counted.county_id, counted.iso_week, counted.protocol
),

visited as (
    select
        county_id as county_id,
        iso_week as iso_week,
        protocol as protocol,
        count(*) as visits
    from visit_pressure
    group by county_id, iso_week, protocol
)

select
    summed.county_id as county_id,
    summed.season as season,
    summed.iso_week as iso_week,
    summed.protocol as protocol,
    summed.fields as fields,
    visited.visits as visits,
    summed.fields_visited as fields_visited,
    summed.sites as sites,
    summed.units as units,
    summed.mean_pressure as mean_pressure,
    case
        when summed.fields_visited > 1
            then sqrt(
                spread.squares
                / cast(summed.fields_visited - 1 as double)
                / cast(summed.fields_visited as double)
            )
    end as mean_pressure_se
from summed
inner join visited
    on
        summed.county_id = visited.county_id
        and summed.iso_week = visited.iso_week
        and summed.protocol = visited.protocol
left join spread
    on
        summed.county_id = spread.county_id
        and summed.iso_week = spread.iso_week
        and summed.protocol = spread.protocol
order by summed.county_id, summed.iso_week, summed.protocol
