-- The public rows of counties, one for each county and week: what maps, tables and pages show.
--
-- A county without a row was not visited, or has too few fields to publish; nothing says which.
-- Every figure is that of the county's public row, except share_smoothed with its weight, which is computed from the
-- rows of this table alone.
--
-- grain:   one row per county, week and protocol
-- key:     county_id, iso_week, protocol
-- reads:   public_row, county, county_share_smoothed
-- privacy: public
-- columns:
--   county_id                      text   not null  id of the county
--   county_name                    text   not null  name of the county; its id if the boundaries have no name
--   district                       text   null      district of the county; null if it has none
--   season                         int    not null  ISO week-year
--   iso_week                       text   not null  name of the week: the ISO 8601 week that holds its middle day, as 2026-W30
--   week_start                     date   not null  first day of the week
--   week_end                       date   not null  last day of the week
--   protocol                       text   not null  id of the protocol
--   edition                        int    not null  1, or 2 for the one update that a row may have
--   visits_until                   date   not null  date of the newest submission that the row includes
--   level                          text   not null  survey (counts) or strict (intervals)
--   fields_visited                 bigint not null  [{field}] fields with a visit within the stage window; 0 if all were at another stage
--   at_threshold_min               bigint not null  [{field}] minimum number of these fields at threshold
--   at_threshold_max               bigint not null  [{field}] maximum number of these fields at threshold
--   share_low                      double null      [1] lower limit of the 95% Wilson confidence interval of at_threshold_min / fields_visited
--   share_high                     double null      [1] upper limit of the 95% Wilson confidence interval of at_threshold_max / fields_visited
--   over_third_low                 double null      [1] probability that more than a third of the fields are at threshold if the fields visited were a random sample, by at_threshold_min (posterior with Jeffreys' prior, Beta(1/2, 1/2)); they are not, so it is less sure than it looks
--   over_third_high                double null      [1] the same by at_threshold_max; equal where the number at threshold is public
--   share_smoothed                 double null      [1] middle of the minimum and maximum share, drawn toward the share of all counties shown by as much as its sample is small (empirical Bayes), but by no more than one standard error of its own; null if no other county is shown
--   share_own_weight               double null      [1] weight of the county's own share in share_smoothed; the rest is that of all counties shown
--   median_class                   text   null      class of the median of the fields' pressures: nothing-found, or its limits; null for fewer than five fields
--   median_from                    double null      [1] lower limit of the class, included; 1 = at threshold
--   median_below                   double null      [1] upper limit of the class, not included; null for the highest class and for nothing found
--   mean_pressure                  double null      [1] mean of the fields' pressures to the nearest 0.2; null for fewer than ten fields of five farms, and if one farm has more than a third
--   fields_with_assumed_economics  bigint null      [{field}] fields visited whose threshold uses assumed economics; null if it would single out one or two fields
--   fields_outside_stage           bigint null      [{field}] fields with visits at another crop stage only; null if they are too few to show
--   treatment_first_week           text   null      first week in which fields of two farms are expected at the treatment stage; null for fewer than five fields
--   treatment_last_week            text   null      last such week
--   window_basis                   text   null      basis of these weeks: weather, days (ranges of the protocol) or both
-- checks:
--   at_threshold_min <= at_threshold_max and at_threshold_max <= fields_visited
--   fields_visited > 0 or (share_low is null and share_high is null and median_class is null)
--   fields_visited = 0 or (share_low <= share_high)
--   (over_third_low is null) = (fields_visited = 0) and (over_third_high is null) = (fields_visited = 0)
--   fields_visited = 0 or (over_third_low >= 0 and over_third_low <= over_third_high and over_third_high <= 1)
--   median_class is null or fields_visited >= 5
--   mean_pressure is null or fields_visited >= 10
--   fields_visited = 0 or fields_visited >= 3
--   (treatment_first_week is null) = (treatment_last_week is null)
--   share_smoothed is null or (share_smoothed >= 0 and share_smoothed <= 1)
--   (share_own_weight is null) = (share_smoothed is null)
--   share_own_weight is null or (share_own_weight >= 0 and share_own_weight <= 1)
select
    public_row.county_id as county_id,
    coalesce(county.county_name, public_row.county_id) as county_name,
    county.district as district,
    public_row.season as season,
    public_row.iso_week as iso_week,
    public_row.week_start as week_start,
    public_row.week_end as week_end,
    public_row.protocol as protocol,
    public_row.edition as edition,
    public_row.visits_until as visits_until,
    public_row.level as level,
    public_row.fields_visited as fields_visited,
    public_row.at_threshold_min as at_threshold_min,
    public_row.at_threshold_max as at_threshold_max,
    public_row.share_low as share_low,
    public_row.share_high as share_high,
    public_row.over_third_low as over_third_low,
    public_row.over_third_high as over_third_high,
    county_share_smoothed.share_smoothed as share_smoothed,
    county_share_smoothed.share_own_weight as share_own_weight,
    public_row.median_class as median_class,
    public_row.median_from as median_from,
    public_row.median_below as median_below,
    public_row.mean_pressure as mean_pressure,
    public_row.fields_with_assumed_economics as fields_with_assumed_economics,
    public_row.fields_outside_stage as fields_outside_stage,
    public_row.treatment_first_week as treatment_first_week,
    public_row.treatment_last_week as treatment_last_week,
    public_row.window_basis as window_basis
from public_row
left join county on public_row.county_id = county.county_id
left join county_share_smoothed
    on
        public_row.county_id = county_share_smoothed.county_id
        and public_row.iso_week = county_share_smoothed.iso_week
        and public_row.protocol = county_share_smoothed.protocol
where public_row.county_id is not null
order by public_row.county_id, public_row.iso_week, public_row.protocol
