-- The shown counties of a week taken together, and whether neighbours are alike: one row for the region.
--
-- Moran's I of the counties' median pressures with its p-value by permutations is no function of stock SQL;
-- it is computed beside the stages (table week_clustering, src/rollup/clustering.rs) from the rows of
-- county_week that are shown. What it is stands in src/statistics/moran.rs.
--
-- Nothing is given away: every value is made of what county_week publishes, so whoever has that table could
-- compute this one. Counts of fields are sums over the shown counties; there is no total from which these
-- could be taken away until a suppressed county is left. Sums are taken over decimals, which add up the same
-- in any order.
--
-- grain:   one row an ISO week and protocol
-- key:     iso_week, protocol
-- reads:   county_week, week_clustering
-- privacy: public
-- columns:
--   season               int     not null  ISO week-year
--   iso_week             text    not null  ISO 8601 week, as 2026-W30
--   protocol             text    not null  id of the protocol
--   counties_shown       bigint  not null  [{county}] counties whose median pressure is shown
--   counties_suppressed  bigint  not null  [{county}] counties whose figures are withheld
--   fields_visited       bigint  not null  [{field}] fields with a visit within the stage window, in the counties shown
--   fields_at_threshold  bigint  not null  [{field}] fields of these whose pressure is 1 or more
--   share_at_threshold   double  null      [1] fields_at_threshold / fields_visited
--   mean_pressure        double  null      [1] mean of the pressures of these fields; 1 = at threshold
--   moran_counties       bigint  null      [{county}] counties shown with a neighbour shown, on which moran_i rests; null where it is not defined
--   moran_i              double  null      [1] Moran's I of their median pressures, each county's neighbours weighing alike; about -1 / (moran_counties - 1) without a pattern; null for fewer than three counties or equal pressures
--   moran_p              double  null      [1] share of 999 random orders of the pressures, and the one as they lie, whose I is as large; small where neighbours are alike
-- checks:
--   counties_shown >= 0 and counties_suppressed >= 0
--   fields_at_threshold <= fields_visited and counties_shown <= fields_visited
--   (share_at_threshold is null) = (fields_visited = 0) and (mean_pressure is null) = (fields_visited = 0)
--   moran_counties is null or (moran_counties >= 3 and moran_counties <= counties_shown)
--   (moran_i is null) = (moran_counties is null) and (moran_p is null) = (moran_i is null)
--   moran_p is null or (moran_p > 0 and moran_p <= 1)
with counted as (
    select
        season as season,
        iso_week as iso_week,
        protocol as protocol,
        count(median_pressure) as counties_shown,
        sum(case when suppressed then 1 else 0 end) as counties_suppressed,
        coalesce(sum(fields_visited), 0) as fields_visited,
        coalesce(sum(fields_at_threshold), 0) as fields_at_threshold,
        sum(cast(mean_pressure * cast(fields_visited as double) as decimal(38, 15)))
            as summed_pressure
    from county_week
    group by season, iso_week, protocol
)

select
    counted.season as season,
    counted.iso_week as iso_week,
    counted.protocol as protocol,
    counted.counties_shown as counties_shown,
    counted.counties_suppressed as counties_suppressed,
    counted.fields_visited as fields_visited,
    counted.fields_at_threshold as fields_at_threshold,
    case
        when counted.fields_visited > 0
            then
                cast(counted.fields_at_threshold as double)
                / cast(counted.fields_visited as double)
    end as share_at_threshold,
    case
        when counted.fields_visited > 0
            then cast(counted.summed_pressure as double) / cast(counted.fields_visited as double)
    end as mean_pressure,
    week_clustering.moran_counties as moran_counties,
    week_clustering.moran_i as moran_i,
    week_clustering.moran_p as moran_p
from counted
left join week_clustering
    on
        counted.iso_week = week_clustering.iso_week
        and counted.protocol = week_clustering.protocol
order by counted.iso_week, counted.protocol
