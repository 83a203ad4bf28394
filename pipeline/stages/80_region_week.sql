-- Whether the counties of a week that lie beside each other are alike: one row for the whole region.
--
-- Moran's I of the counties' median pressures with its p-value by permutations is no function of stock SQL;
-- it is computed beside the stages (table week_clustering, src/rollup/clustering.rs) from the rows of
-- county_week that are shown. What it is stands in src/statistics/moran.rs.
--
-- Nothing is given away: every value is made of what county_week publishes, so whoever has that table could
-- compute this one. The counts are of counties, and county_week names each of them; there is no total of
-- fields or farms, from which the shown counties could be taken away until a suppressed one is left.
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
--   moran_counties       bigint  null      [{county}] counties shown with a neighbour shown, on which moran_i rests; null where it is not defined
--   moran_i              double  null      [1] Moran's I of their median pressures, each county's neighbours weighing alike; about -1 / (moran_counties - 1) without a pattern; null for fewer than three counties or equal pressures
--   moran_p              double  null      [1] share of 999 random orders of the pressures, and the one as they lie, whose I is as large; small where neighbours are alike
-- checks:
--   counties_shown >= 0 and counties_suppressed >= 0
--   moran_counties is null or (moran_counties >= 3 and moran_counties <= counties_shown)
--   (moran_i is null) = (moran_counties is null) and (moran_p is null) = (moran_i is null)
--   moran_p is null or (moran_p > 0 and moran_p <= 1)
with counted as (
    select
        season as season,
        iso_week as iso_week,
        protocol as protocol,
        count(median_pressure) as counties_shown,
        sum(case when suppressed then 1 else 0 end) as counties_suppressed
    from county_week
    group by season, iso_week, protocol
)

select
    counted.season as season,
    counted.iso_week as iso_week,
    counted.protocol as protocol,
    counted.counties_shown as counties_shown,
    counted.counties_suppressed as counties_suppressed,
    week_clustering.moran_counties as moran_counties,
    week_clustering.moran_i as moran_i,
    week_clustering.moran_p as moran_p
from counted
left join week_clustering
    on
        counted.iso_week = week_clustering.iso_week
        and counted.protocol = week_clustering.protocol
order by counted.iso_week, counted.protocol
