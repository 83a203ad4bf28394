-- The number of counties in each class of the median, by week, for the whole region.
--
-- It counts rows of county_week that have a class. A class without a county has no row.
--
-- grain:   one row per class of the median, week and protocol
-- key:     iso_week, protocol, median_class
-- reads:   county_week
-- privacy: public
-- columns:
--   season        int     not null  ISO week-year
--   iso_week      text    not null  name of the week: the ISO 8601 week that holds its middle day, as 2026-W30
--   week_start    date    not null  first day of the week
--   week_end      date    not null  last day of the week
--   protocol      text    not null  id of the protocol
--   median_class  text    not null  nothing-found, or the limits of the class
--   median_from   double  not null  [1] lower limit of the class, included; 1 = at threshold
--   median_below  double  null      [1] upper limit, not included; null for the highest class and for nothing found
--   counties      bigint  not null  [{county}] counties whose median is in the class
-- checks:
--   counties > 0
--   median_below is null or median_from < median_below
select
    season as season,
    iso_week as iso_week,
    week_start as week_start,
    week_end as week_end,
    protocol as protocol,
    median_class as median_class,
    min(median_from) as median_from,
    min(median_below) as median_below,
    count(*) as counties
from county_week
where median_class is not null
group by season, iso_week, week_start, week_end, protocol, median_class
order by iso_week, protocol, median_class
