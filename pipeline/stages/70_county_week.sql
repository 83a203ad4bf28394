-- What is published of a county in a week.
--
-- The share of a county with few fields jumps; beside it, never in its place, stands what it becomes when
-- it is drawn toward its neighbours as far as chance alone explains their difference (empirical Bayes:
-- Marshall 1991, Applied Statistics 40:283-294, in the binomial form of Martuzzi & Elliott 1996, Stat. Med.
-- 15:1867-1873; src/statistics/shrinkage.rs). It is computed from the rows that are shown, so it tells
-- nothing of a suppressed county.
--
-- grain:   one row a county, ISO week and protocol
-- key:     county_id, iso_week, protocol
-- reads:   county_week_shown, county_share_smoothed
-- privacy: public
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
--   share_smoothed                 double  null      [1] share_at_threshold drawn toward that of the neighbouring counties (empirical Bayes); null without neighbours shown
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
--   not suppressed or share_smoothed is null
--   share_smoothed is null or (share_smoothed >= 0 and share_smoothed <= 1)
select
    county_week_shown.county_id as county_id,
    county_week_shown.county_name as county_name,
    county_week_shown.season as season,
    county_week_shown.iso_week as iso_week,
    county_week_shown.protocol as protocol,
    county_week_shown.fields_visited as fields_visited,
    county_week_shown.fields_at_threshold as fields_at_threshold,
    county_week_shown.fields_near_threshold as fields_near_threshold,
    county_week_shown.share_at_threshold as share_at_threshold,
    county_week_shown.share_low as share_low,
    county_week_shown.share_high as share_high,
    county_share_smoothed.share_smoothed as share_smoothed,
    county_week_shown.mean_pressure as mean_pressure,
    county_week_shown.median_pressure as median_pressure,
    county_week_shown.p90_pressure as p90_pressure,
    county_week_shown.max_pressure as max_pressure,
    county_week_shown.area_share_at_threshold as area_share_at_threshold,
    county_week_shown.fields_outside_stage as fields_outside_stage,
    county_week_shown.fields_with_assumed_economics as fields_with_assumed_economics,
    county_week_shown.window_opens as window_opens,
    county_week_shown.window_closes as window_closes,
    county_week_shown.window_basis as window_basis,
    county_week_shown.suppressed as suppressed
from county_week_shown
left join county_share_smoothed
    on
        county_week_shown.county_id = county_share_smoothed.county_id
        and county_week_shown.iso_week = county_share_smoothed.iso_week
        and county_week_shown.protocol = county_share_smoothed.protocol
order by county_week_shown.county_id, county_week_shown.iso_week, county_week_shown.protocol
