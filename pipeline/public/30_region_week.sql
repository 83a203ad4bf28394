-- The public rows of a week combined, and whether neighboring counties are alike: one row for the region.
--
-- Sums are over county_week and elsewhere_week, which have no field in common, so anybody who has these two tables can
-- compute this one. Moran's I with its permutation p-value is no function of stock SQL. It is computed outside the
-- stages from the rows of county_week that have a class of the median, using the middle of each class.
--
-- grain:   one row per week and protocol
-- key:     iso_week, protocol
-- reads:   county_week, elsewhere_week, week_clustering
-- privacy: public
-- columns:
--   season               int     not null  ISO week-year
--   iso_week             text    not null  name of the week: the ISO 8601 week that holds its middle day, as 2026-W30
--   week_start           date    not null  first day of the week
--   week_end             date    not null  last day of the week
--   protocol             text    not null  id of the protocol
--   counties_shown       bigint  not null  [{county}] counties with a row
--   elsewhere_rows       bigint  not null  rows of fields elsewhere in a district or in the region
--   places_at_threshold  bigint  not null  rows with at least one field at threshold
--   fields_visited       bigint  not null  [{field}] fields with a visit within the stage window, in all rows
--   at_threshold_min     bigint  not null  [{field}] minimum number of these fields at threshold
--   at_threshold_max     bigint  not null  [{field}] maximum number of these fields at threshold
--   share_low            double  null      [1] lower limit of the 95% Wilson confidence interval of at_threshold_min / fields_visited
--   share_high           double  null      [1] upper limit of the 95% Wilson confidence interval of at_threshold_max / fields_visited
--   moran_counties       bigint  null      [{county}] counties with a class of the median and a neighbor with one, from which moran_i is computed; null if it is not defined
--   moran_i              double  null      [1] Moran's I of the middles of their classes, with equal weights for each county's neighbors; about -1 / (moran_counties - 1) without a pattern; null for fewer than three counties, equal classes, and counties that all touch each other, which have the same I whatever their classes
--   moran_p              double  null      [1] one-sided p-value: share of 999 random permutations of the classes, and the observed order, whose I is as large; small where neighbors are alike
-- checks:
--   counties_shown >= 0 and elsewhere_rows >= 0 and counties_shown + elsewhere_rows > 0
--   at_threshold_min <= at_threshold_max and at_threshold_max <= fields_visited
--   (share_low is null) = (fields_visited = 0) and (share_high is null) = (fields_visited = 0)
--   moran_counties is null or (moran_counties >= 3 and moran_counties <= counties_shown)
--   (moran_i is null) = (moran_counties is null) and (moran_p is null) = (moran_i is null)
--   moran_p is null or (moran_p > 0 and moran_p <= 1)
with every_row as (
    select
        season as season,
        iso_week as iso_week,
        week_start as week_start,
        week_end as week_end,
        protocol as protocol,
        1 as of_county,
        fields_visited as fields_visited,
        at_threshold_min as at_threshold_min,
        at_threshold_max as at_threshold_max
    from county_week
    union all
    select
        season as season,
        iso_week as iso_week,
        week_start as week_start,
        week_end as week_end,
        protocol as protocol,
        0 as of_county,
        fields_visited as fields_visited,
        at_threshold_min as at_threshold_min,
        at_threshold_max as at_threshold_max
    from elsewhere_week
),

counted as (
    select
        season as season,
        iso_week as iso_week,
        week_start as week_start,
        week_end as week_end,
        protocol as protocol,
        sum(of_county) as counties_shown,
        sum(1 - of_county) as elsewhere_rows,
        sum(case when at_threshold_min > 0 then 1 else 0 end) as places_at_threshold,
        sum(fields_visited) as fields_visited,
        sum(at_threshold_min) as at_threshold_min,
        sum(at_threshold_max) as at_threshold_max
    from every_row
    group by season, iso_week, week_start, week_end, protocol
),

shares as (
    select
        *,
        cast(fields_visited as double) as visited,
        cast(at_threshold_min as double) / cast(nullif(fields_visited, 0) as double) as least,
        cast(at_threshold_max as double) / cast(nullif(fields_visited, 0) as double) as most,
        1.959963984540054 * 1.959963984540054 as z_squared
    from counted
)

select
    shares.season as season,
    shares.iso_week as iso_week,
    shares.week_start as week_start,
    shares.week_end as week_end,
    shares.protocol as protocol,
    shares.counties_shown as counties_shown,
    shares.elsewhere_rows as elsewhere_rows,
    shares.places_at_threshold as places_at_threshold,
    shares.fields_visited as fields_visited,
    shares.at_threshold_min as at_threshold_min,
    shares.at_threshold_max as at_threshold_max,
    case
        when shares.least = 0.0 then 0.0
        when shares.least > 0.0
            then
                greatest(
                    0.0,
                    (shares.least + shares.z_squared / (2.0 * shares.visited))
                    / (1.0 + shares.z_squared / shares.visited)
                    - 1.959963984540054
                    * sqrt(
                        shares.least * (1.0 - shares.least) / shares.visited
                        + shares.z_squared / (4.0 * shares.visited * shares.visited)
                    )
                    / (1.0 + shares.z_squared / shares.visited)
                )
    end as share_low,
    case
        when shares.most = 1.0 then 1.0
        when shares.most < 1.0
            then
                least(
                    1.0,
                    (shares.most + shares.z_squared / (2.0 * shares.visited))
                    / (1.0 + shares.z_squared / shares.visited)
                    + 1.959963984540054
                    * sqrt(
                        shares.most * (1.0 - shares.most) / shares.visited
                        + shares.z_squared / (4.0 * shares.visited * shares.visited)
                    )
                    / (1.0 + shares.z_squared / shares.visited)
                )
    end as share_high,
    week_clustering.moran_counties as moran_counties,
    week_clustering.moran_i as moran_i,
    week_clustering.moran_p as moran_p
from shares
left join week_clustering
    on
        shares.iso_week = week_clustering.iso_week
        and shares.protocol = week_clustering.protocol
order by shares.iso_week, shares.protocol
