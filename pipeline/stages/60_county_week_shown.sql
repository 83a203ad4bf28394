-- What may be shown of a county in a week: small groups are suppressed.
--
-- A county-week is suppressed if its figures would rest on fewer fields than the setting min_fields, or,
-- where farms are given, on fewer farms than min_farms. Where all its fields lie outside the stage window,
-- its only figure, their number, rests on these. Every figure of a suppressed row is null, its counts too.
--
-- Its rows are published with one column more, which rests on nothing but these rows: 70_county_week.sql.
--
-- grain:   one row a county, ISO week and protocol
-- key:     county_id, iso_week, protocol
-- reads:   county_week_full, setting
-- privacy: private
-- columns:
--   county_id                      text    not null  id of the county
--   county_name                    text    not null  name of the county; its id where the region lacks it
--   season                         int     not null  ISO week-year
--   iso_week                       text    not null  ISO 8601 week, as 2026-W30
--   protocol                       text    not null  id of the protocol
--   fields_visited                 bigint  null      [{field}] fields with a visit within the stage window
--   fields_at_threshold            bigint  null      [{field}] fields whose pressure is 1 or more
--   fields_near_threshold          bigint  null      [{field}] fields visited whose 95 % interval covers the threshold
--   share_at_threshold             double  null      [1] fields_at_threshold / fields_visited
--   share_low                      double  null      [1] lower end of its 95 % Wilson interval
--   share_high                     double  null      [1] upper end of its 95 % Wilson interval
--   mean_pressure                  double  null      [1] mean of the fields' pressures; 1 = at threshold
--   median_pressure                double  null      [1] median of the fields' pressures; 1 = at threshold
--   p90_pressure                   double  null      [1] nine fields in ten lie at or below it; 1 = at threshold
--   max_pressure                   double  null      [1] highest pressure; 1 = at threshold
--   area_share_at_threshold        double  null      [1] hectares at threshold / hectares visited
--   fields_outside_stage           bigint  null      [{field}] fields with visits outside the stage window only
--   fields_with_assumed_economics  bigint  null      [{field}] fields visited whose threshold rests on economics filled in from defaults
--   window_opens                   date    null      first day on which a field visited is expected at the treatment stage
--   window_closes                  date    null      last such day
--   window_basis                   text    null      what the two days rest on: weather, days (ranges of the protocol) or both
--   suppressed                     boolean not null  whether the figures are withheld
-- checks:
--   not suppressed or (fields_visited is null and max_pressure is null and fields_outside_stage is null)
--   not suppressed or (fields_near_threshold is null and fields_with_assumed_economics is null)
--   not suppressed or (window_opens is null and window_closes is null)
--   suppressed or fields_visited is not null
with judged as (
    select
        county_week_full.*,
        (
            county_week_full.fields_visited > 0
            and county_week_full.fields_visited < setting.min_fields
        )
        or (
            county_week_full.fields_visited = 0
            and county_week_full.fields_outside_stage < setting.min_fields
        )
        or (
            county_week_full.farms_given > 0
            and county_week_full.farms < setting.min_farms
        ) as suppressed
    from county_week_full
    cross join setting
)

select
    county_id as county_id,
    county_name as county_name,
    season as season,
    iso_week as iso_week,
    protocol as protocol,
    case when not suppressed then fields_visited end as fields_visited,
    case when not suppressed then fields_at_threshold end as fields_at_threshold,
    case when not suppressed then fields_near_threshold end as fields_near_threshold,
    case when not suppressed then share_at_threshold end as share_at_threshold,
    case when not suppressed then share_low end as share_low,
    case when not suppressed then share_high end as share_high,
    case when not suppressed then mean_pressure end as mean_pressure,
    case when not suppressed then median_pressure end as median_pressure,
    case when not suppressed then p90_pressure end as p90_pressure,
    case when not suppressed then max_pressure end as max_pressure,
    case when not suppressed then area_share_at_threshold end as area_share_at_threshold,
    case when not suppressed then fields_outside_stage end as fields_outside_stage,
    case when not suppressed then fields_with_assumed_economics end
        as fields_with_assumed_economics,
    case when not suppressed then window_opens end as window_opens,
    case when not suppressed then window_closes end as window_closes,
    case when not suppressed then window_basis end as window_basis,
    suppressed as suppressed
from judged
order by county_id, iso_week, protocol
