-- The number of fields at each crop stage, by week, for the whole region.
--
-- It sums the stages of the public rows. Within a public row a stage of too few fields joins its neighbor, so some rows here
-- are ranges of stages. Vegetative stages are combined as V, R5.0 to R5.9 as R5.
--
-- grain:   one row per stage or range of stages, inside or outside the stage window, a week and protocol
-- key:     iso_week, protocol, crop_stage, in_window
-- reads:   public_stage
-- privacy: public
-- columns:
--   season       int     not null  ISO week-year
--   iso_week     text    not null  name of the week: the ISO 8601 week that holds its middle day, as 2026-W30
--   week_start   date    not null  first day of the week
--   week_end     date    not null  last day of the week
--   protocol     text    not null  id of the protocol
--   crop_stage   text    not null  V, R1 to R9, a stage of the protocol's own scale, or the first and last of a range
--   in_window    boolean not null  whether it is in the protocol's stage window
--   fields       bigint  not null  [{field}] fields of all public rows
-- checks:
--   fields > 0
select
    season as season,
    iso_week as iso_week,
    week_start as week_start,
    week_end as week_end,
    protocol as protocol,
    crop_stage as crop_stage,
    in_window as in_window,
    sum(fields) as fields
from public_stage
group by season, iso_week, week_start, week_end, protocol, crop_stage, in_window
order by iso_week, protocol, crop_stage, in_window
