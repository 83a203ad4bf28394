-- Every figure of a county in a week, small groups included: for the office only.
--
-- Sums are taken over decimals, which add up the same in any order, so that one store version gives
-- the same bytes on any number of cores. Quantiles interpolate linearly between the two nearest
-- fields (numpy's default): a field's weight is its closeness to the wanted rank, so only one or two
-- fields have a weight above 0. A field exactly at its threshold may be a last digit below 1 in binary
-- arithmetic, so 1e-12 below 1 still counts as at threshold: far less than a single egg changes.
-- The 95% confidence interval of the share is Wilson's (Newcombe 1998, Stat. Med. 17(8):857-872), with
-- z = 1.959963984540054.
--
-- grain:   one row per county, week and protocol
-- key:     county_id, iso_week, protocol
-- reads:   field_week, county
-- privacy: private
-- columns:
--   county_id                      text   not null  id of the county
--   county_name                    text   not null  name of the county; its id if the boundaries have no name
--   season                         int    not null  ISO week-year
--   iso_week                       text   not null  name of the week: the ISO 8601 week that holds its middle day, as 2026-W30
--   protocol                       text   not null  id of the protocol
--   fields_visited                 bigint not null  [{field}] fields with a visit within the stage window that follows no treatment
--   farms_given                    bigint not null  [{field}] number of these, or if there are none of those outside and treated, that name a farm
--   farms                          bigint not null  [{farm}] farms of the same fields; a field without a farm counts as one
--   fields_at_threshold            bigint not null  [{field}] fields whose pressure is 1 or more
--   fields_undetermined            bigint not null  [{field}] fields visited that are too near their threshold for a call (undetermined)
--   share_at_threshold             double null      [1] fields_at_threshold / fields_visited
--   share_low                      double null      [1] lower limit of its 95% confidence interval
--   share_high                     double null      [1] upper limit of its 95% confidence interval
--   mean_pressure                  double null      [1] mean of the fields' pressures
--   median_pressure                double null      [1] median of the fields' pressures
--   p90_pressure                   double null      [1] 90th percentile of the fields' pressures
--   max_pressure                   double null      [1] highest pressure
--   area_share_at_threshold        double null      [1] hectares at threshold / hectares visited
--   fields_outside_stage           bigint not null  [{field}] fields with visits outside the stage window only
--   fields_treated                 bigint not null  [{field}] fields whose visits within the stage window all follow a treatment: treated (not counted)
--   fields_with_assumed_economics  bigint not null  [{field}] fields visited whose threshold uses economics filled in from defaults
--   window_opens                   date   null      first date on which a field visited is expected at the treatment stage
--   window_closes                  date   null      last such date
--   window_basis                   text   null      basis of the two dates: weather, days (ranges of the protocol) or both
-- checks:
--   fields_visited + fields_outside_stage + fields_treated > 0
--   fields_at_threshold <= fields_visited
--   fields_undetermined <= fields_visited
--   fields_with_assumed_economics <= fields_visited
--   fields_visited > 0 or (share_low is null and share_high is null and max_pressure is null)
--   fields_visited = 0 or (share_low <= share_at_threshold and share_at_threshold <= share_high)
with standing as (
    select
        *,
        row_number() over (
            partition by county_id, iso_week, protocol order by pressure, field_id
        ) - 1 as place,
        count(*) over (partition by county_id, iso_week, protocol) - 1 as last_place
    from field_week
    where in_window and not after_treatment
),

weighed as (
    select
        *,
        greatest(0.0, 1.0 - abs(cast(place as double) - 0.5 * last_place)) as median_weight,
        greatest(0.0, 1.0 - abs(cast(place as double) - 0.9 * last_place)) as p90_weight,
        cast(pressure as decimal(38, 15)) as pressure_exact,
        cast(area_ha as decimal(38, 15)) as area_exact,
        pressure >= 1.0 - 1e-12 as at_threshold
    from standing
),

within_window as (
    select
        county_id as county_id,
        season as season,
        iso_week as iso_week,
        protocol as protocol,
        count(*) as fields_visited,
        count(farm_id) as farms_given,
        count(distinct coalesce('farm ' || farm_id, 'field ' || field_id)) as farms,
        count(*) filter (where at_threshold) as fields_at_threshold,
        count(*) filter (where undetermined) as fields_undetermined,
        count(*) filter (where economics_assumed) as fields_with_assumed_economics,
        min(window_opens) as window_opens,
        max(window_closes) as window_closes,
        case when min(window_basis) = max(window_basis) then min(window_basis) else 'both' end
            as window_basis_given,
        count(window_basis) as fields_with_window,
        cast(sum(pressure_exact) as double) / cast(count(*) as double) as mean_pressure,
        sum(pressure * median_weight) as median_pressure,
        sum(pressure * p90_weight) as p90_pressure,
        max(pressure) as max_pressure,
        coalesce(cast(sum(area_exact) filter (where at_threshold) as double), 0.0)
        / cast(sum(area_exact) as double) as area_share_at_threshold
    from weighed
    group by county_id, season, iso_week, protocol
),

-- Fields outside the stage window, and fields within it whose counts follow a treatment.
not_counted as (
    select
        county_id as county_id,
        season as season,
        iso_week as iso_week,
        protocol as protocol,
        count(*) filter (where not in_window) as fields_outside_stage,
        count(*) filter (where in_window) as fields_treated,
        count(farm_id) as farms_given,
        count(distinct coalesce('farm ' || farm_id, 'field ' || field_id)) as farms
    from field_week
    where not in_window or after_treatment
    group by county_id, season, iso_week, protocol
),

every_cell as (
    select
        coalesce(within_window.county_id, not_counted.county_id) as county_id,
        coalesce(within_window.season, not_counted.season) as season,
        coalesce(within_window.iso_week, not_counted.iso_week) as iso_week,
        coalesce(within_window.protocol, not_counted.protocol) as protocol,
        coalesce(within_window.fields_visited, 0) as fields_visited,
        coalesce(within_window.farms_given, not_counted.farms_given) as farms_given,
        coalesce(within_window.farms, not_counted.farms) as farms,
        coalesce(within_window.fields_at_threshold, 0) as fields_at_threshold,
        coalesce(within_window.fields_undetermined, 0) as fields_undetermined,
        coalesce(within_window.fields_with_assumed_economics, 0) as fields_with_assumed_economics,
        within_window.window_opens as window_opens,
        within_window.window_closes as window_closes,
        case when within_window.fields_with_window > 0 then within_window.window_basis_given end
            as window_basis,
        within_window.mean_pressure as mean_pressure,
        within_window.median_pressure as median_pressure,
        within_window.p90_pressure as p90_pressure,
        within_window.max_pressure as max_pressure,
        within_window.area_share_at_threshold as area_share_at_threshold,
        coalesce(not_counted.fields_outside_stage, 0) as fields_outside_stage,
        coalesce(not_counted.fields_treated, 0) as fields_treated,
        cast(within_window.fields_visited as double) as visited,
        cast(within_window.fields_at_threshold as double)
        / cast(within_window.fields_visited as double) as share,
        1.959963984540054 * 1.959963984540054 as z_squared
    from within_window
    full outer join not_counted
        on
            within_window.county_id = not_counted.county_id
            and within_window.season = not_counted.season
            and within_window.iso_week = not_counted.iso_week
            and within_window.protocol = not_counted.protocol
),

with_interval as (
    select
        *,
        (share + z_squared / (2.0 * visited)) / (1.0 + z_squared / visited) as share_middle,
        1.959963984540054
        * sqrt(share * (1.0 - share) / visited + z_squared / (4.0 * visited * visited))
        / (1.0 + z_squared / visited) as share_reach
    from every_cell
)

select
    with_interval.county_id as county_id,
    coalesce(county.county_name, with_interval.county_id) as county_name,
    with_interval.season as season,
    with_interval.iso_week as iso_week,
    with_interval.protocol as protocol,
    with_interval.fields_visited as fields_visited,
    with_interval.farms_given as farms_given,
    with_interval.farms as farms,
    with_interval.fields_at_threshold as fields_at_threshold,
    with_interval.fields_undetermined as fields_undetermined,
    with_interval.share as share_at_threshold,
    case
        when with_interval.share = 0.0 then 0.0
        when with_interval.share > 0.0
            then greatest(0.0, with_interval.share_middle - with_interval.share_reach)
    end as share_low,
    case
        when with_interval.share = 1.0 then 1.0
        when with_interval.share < 1.0
            then least(1.0, with_interval.share_middle + with_interval.share_reach)
    end as share_high,
    with_interval.mean_pressure as mean_pressure,
    with_interval.median_pressure as median_pressure,
    with_interval.p90_pressure as p90_pressure,
    with_interval.max_pressure as max_pressure,
    with_interval.area_share_at_threshold as area_share_at_threshold,
    with_interval.fields_outside_stage as fields_outside_stage,
    with_interval.fields_treated as fields_treated,
    with_interval.fields_with_assumed_economics as fields_with_assumed_economics,
    with_interval.window_opens as window_opens,
    with_interval.window_closes as window_closes,
    with_interval.window_basis as window_basis
from with_interval
left join county on with_interval.county_id = county.county_id
order by with_interval.county_id, with_interval.iso_week, with_interval.protocol
