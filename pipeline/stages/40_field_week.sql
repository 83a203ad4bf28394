-- A field in a week: its reference visit, the confidence interval of its mean, and its treatment window.
--
-- Student's distribution and the development of the crop are no functions of stock SQL. They are computed outside
-- the stages, and standing_figure has them next to the columns of standing_visit. The header of
-- 30_standing_visit.sql names the columns and the step that computes them.
--
-- grain:   one row per field, ISO week and protocol
-- key:     field_id, iso_week, protocol
-- reads:   standing_figure
-- privacy: private
-- columns:
--   field_id                  text    not null  ID code of the field
--   iso_week                  text    not null  ISO 8601 week of observed_on, as 2026-W30
--   protocol                  text    not null  id of the protocol
--   season                    int     not null  ISO week-year of observed_on
--   county_id                 text    not null  county in which the field's point is
--   farm_id                   text    null      ID code of the farm
--   visit_id                  text    not null  id of the reference visit
--   observed_on               date    not null  its visit date
--   crop_stage                text    not null  its crop stage
--   in_window                 boolean not null  whether its crop stage is in the protocol's stage window
--   lon                       double  null      [deg] longitude of the field, WGS 84; null where only its county is known
--   lat                       double  null      [deg] latitude of the field, WGS 84; null where only its county is known
--   area_ha                   double  not null  [har] area of the field in hectares
--   sites                     int     not null  [{site}] sites sampled
--   units                     int     not null  [{unit}] units examined
--   field_mean                double  not null  mean of the site means
--   variance_between_sites    double  null      variance of the site means; null if there is one site
--   variance_within_sites     double  null      variance of units within sites; null if each site has one unit
--   standard_error            double  null      standard error of field_mean; null if there is one site
--   economics_assumed         boolean not null  whether the threshold uses economics filled in from defaults
--   threshold                 double  not null  threshold of the field in the unit of field_mean
--   pressure                  double  not null  [1] field_mean / threshold; 1 = at threshold
--   mean_low                  double  null      lower limit of the 95% confidence interval of field_mean (Student's t of its logarithm); null if there is one site
--   mean_high                 double  null      upper limit of that interval; null if there is one site
--   probability_at_threshold  double  null      [1] probability that the field's true mean is at or above its threshold; null if there is one site
--   near_threshold            boolean null      whether the interval includes the threshold; null if there is one site
--   hatch_from                date    null      first date on which eggs seen on the visit hatch: the visit date, since they were laid over the days before it; null if no egg was found or the protocol counts none
--   hatch_to                  date    null      last such date: the visit date plus the longest hatch time
--   window_opens              date    null      first date on which the field is expected at the treatment stage; null if the protocol names no such stage
--   window_closes             date    null      last such date
--   window_basis              text    null      basis of the two dates: weather, or days (ranges of the protocol)
-- checks:
--   pressure >= 0
--   mean_low is null or (mean_low <= field_mean and field_mean <= mean_high)
--   probability_at_threshold is null or (probability_at_threshold >= 0 and probability_at_threshold <= 1)
--   window_opens is null or window_opens <= window_closes
--   hatch_from is null or (hatch_from = observed_on and hatch_from <= hatch_to and field_mean > 0)
select
    standing_figure.field_id as field_id,
    standing_figure.iso_week as iso_week,
    standing_figure.protocol as protocol,
    standing_figure.season as season,
    standing_figure.county_id as county_id,
    standing_figure.farm_id as farm_id,
    standing_figure.visit_id as visit_id,
    standing_figure.observed_on as observed_on,
    standing_figure.crop_stage as crop_stage,
    standing_figure.in_window as in_window,
    standing_figure.lon as lon,
    standing_figure.lat as lat,
    standing_figure.area_ha as area_ha,
    standing_figure.sites as sites,
    standing_figure.units as units,
    standing_figure.field_mean as field_mean,
    standing_figure.variance_between_sites as variance_between_sites,
    standing_figure.variance_within_sites as variance_within_sites,
    standing_figure.standard_error as standard_error,
    standing_figure.economics_assumed as economics_assumed,
    standing_figure.threshold as threshold,
    standing_figure.pressure as pressure,
    standing_figure.mean_low as mean_low,
    standing_figure.mean_high as mean_high,
    standing_figure.probability_at_threshold as probability_at_threshold,
    standing_figure.near_threshold as near_threshold,
    standing_figure.hatch_from as hatch_from,
    standing_figure.hatch_to as hatch_to,
    standing_figure.window_opens as window_opens,
    standing_figure.window_closes as window_closes,
    standing_figure.window_basis as window_basis
from standing_figure
order by standing_figure.field_id, standing_figure.iso_week, standing_figure.protocol
