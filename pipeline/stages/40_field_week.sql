-- A field in a week: the visit that stands, how sure its figure is, and when treating would be due.
--
-- What no stock SQL function gives is computed beside the stages and joined here: Student's distribution
-- (table field_certainty, src/statistics/field_mean.rs) and the course of the crop (table field_window,
-- src/heat/). Both have one row a standing visit.
--
-- grain:   one row a field, ISO week and protocol
-- key:     field_id, iso_week, protocol
-- reads:   standing_visit, field_certainty, field_window
-- privacy: private
-- columns:
--   field_id                  text    not null  pseudonym of the field
--   iso_week                  text    not null  ISO 8601 week of observed_on, as 2026-W30
--   protocol                  text    not null  id of the protocol
--   season                    int     not null  ISO week-year of observed_on
--   county_id                 text    not null  county of the field's point
--   farm_id                   text    null      pseudonym of the farm
--   visit_id                  text    not null  the visit that stands
--   observed_on               date    not null  its day
--   crop_stage                text    not null  its crop stage
--   in_window                 boolean not null  whether its crop stage lies in the protocol's window
--   area_ha                   double  not null  [har] area of the field, hectares
--   sites                     int     not null  [{site}] sites sampled
--   units                     int     not null  [{unit}] units examined
--   field_mean                double  not null  mean of the site means
--   variance_between_sites    double  null      variance of the site means; null for one site
--   variance_within_sites     double  null      variance of units about their site's mean; null if each site has one unit
--   standard_error            double  null      standard error of field_mean; null for one site
--   economics_assumed         boolean not null  whether the threshold rests on economics filled in from defaults
--   threshold                 double  not null  threshold of the field, in the unit of field_mean
--   pressure                  double  not null  [1] field_mean / threshold; 1 = at threshold
--   mean_low                  double  null      lower end of the 95 % interval of field_mean (Student's t of its logarithm); null for one site
--   mean_high                 double  null      upper end of that interval; null for one site
--   probability_at_threshold  double  null      [1] probability that the field's true mean is at threshold or above; null for one site
--   near_threshold            boolean null      whether the interval covers the threshold; null for one site
--   hatch_from                date    null      first day on which eggs of that visit are expected to hatch; null where the protocol counts no eggs
--   hatch_to                  date    null      last such day
--   window_opens              date    null      first day on which the field is expected at the treatment stage; null where the protocol names none
--   window_closes             date    null      last such day
--   window_basis              text    null      what the two days rest on: weather or days
-- checks:
--   pressure >= 0
--   mean_low is null or (mean_low <= field_mean and field_mean <= mean_high)
--   probability_at_threshold is null or (probability_at_threshold >= 0 and probability_at_threshold <= 1)
--   window_opens is null or window_opens <= window_closes
--   hatch_from is null or hatch_from <= hatch_to
select
    standing_visit.field_id as field_id,
    standing_visit.iso_week as iso_week,
    standing_visit.protocol as protocol,
    standing_visit.season as season,
    standing_visit.county_id as county_id,
    standing_visit.farm_id as farm_id,
    standing_visit.visit_id as visit_id,
    standing_visit.observed_on as observed_on,
    standing_visit.crop_stage as crop_stage,
    standing_visit.in_window as in_window,
    standing_visit.area_ha as area_ha,
    standing_visit.sites as sites,
    standing_visit.units as units,
    standing_visit.field_mean as field_mean,
    standing_visit.variance_between_sites as variance_between_sites,
    standing_visit.variance_within_sites as variance_within_sites,
    standing_visit.standard_error as standard_error,
    standing_visit.economics_assumed as economics_assumed,
    standing_visit.threshold as threshold,
    standing_visit.pressure as pressure,
    field_certainty.mean_low as mean_low,
    field_certainty.mean_high as mean_high,
    field_certainty.probability_at_threshold as probability_at_threshold,
    field_certainty.near_threshold as near_threshold,
    field_window.hatch_from as hatch_from,
    field_window.hatch_to as hatch_to,
    field_window.window_opens as window_opens,
    field_window.window_closes as window_closes,
    field_window.window_basis as window_basis
from standing_visit
left join field_certainty on standing_visit.visit_id = field_certainty.visit_id
left join field_window on standing_visit.visit_id = field_window.visit_id
order by standing_visit.field_id, standing_visit.iso_week, standing_visit.protocol
