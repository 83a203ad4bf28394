-- A field in a week: its reference visit, the confidence interval of its mean, and its treatment window.
--
-- The quantiles of a range and the development of the crop are no functions of stock SQL. They are computed outside
-- the stages, and standing_figure has them next to the columns of standing_visit. The header of
-- 30_standing_visit.sql names the columns and the step that computes them.
--
-- grain:   one row per field, week and protocol
-- key:     field_id, iso_week, protocol
-- reads:   standing_figure
-- privacy: private
-- columns:
--   field_id                  text    not null  ID code of the field
--   iso_week                  text    not null  name of the week of observed_on: the ISO 8601 week that holds its middle day, as 2026-W30
--   protocol                  text    not null  id of the protocol
--   season                    int     not null  year of the week
--   county_id                 text    not null  county in which the field's point is
--   farm_id                   text    null      ID code of the farm
--   visit_id                  text    not null  id of the reference visit
--   observed_on               date    not null  its visit date
--   crop_stage                text    not null  its crop stage
--   in_window                 boolean not null  whether its crop stage is in the protocol's stage window
--   after_treatment           boolean not null  whether its counts follow a treatment within the protocol's days, or one without a date; within the window the field is then treated and not counted
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
--   mean_low                  double  null     lower end of the 95% range of the field's true mean (negative binomial with k of the season); null if no range is given
--   mean_high                 double  null     upper end of that range; null if none is given, or none within ten times field_mean
--   mean_range                text    not null what the two ends are: between, fewer-than (nothing was found), at-least (no upper end), or not-given (too few fields this season to know k)
--   confidence_at_threshold   double  null     [1] confidence that the true mean is at or above the threshold, from this field alone; null if no range is given
--   probability_at_threshold  double  null     [1] probability of the same, given the means of the season's fields within the stage window; null outside the window, after a treatment, or if they are fewer than 50
--   undetermined              boolean null     whether that probability (else the confidence) is too near one half for a call: by default from 0.1 to 0.9; null outside the window, after a treatment, or if no range is given
--   further_sites             int     null     [{site}] further sites with the same mean after which an undetermined field would be called; null if it is not undetermined, or if 24 would not do
--   season_k                  double  not null k of the negative binomial of a site's total, common to the season's fields
--   season_k_information      double  not null how well season_k is known: its coefficient of variation is about sqrt(2 / season_k_information); below 9 no range is given
--   hatch_from                date    null      first date on which eggs seen on the visit hatch: the visit date, since they were laid over the days before it; null if no egg was found or the protocol counts none
--   hatch_to                  date    null      last such date: the visit date plus the longest hatch time
--   window_opens              date    null      first date on which the field is expected at the treatment stage; null if the protocol names no such stage
--   window_closes             date    null      last such date
--   window_basis              text    null      basis of the two dates: weather, or days (ranges of the protocol)
-- checks:
--   pressure >= 0
--   mean_low is null or mean_low <= field_mean
--   mean_high is null or field_mean <= mean_high
--   confidence_at_threshold is null or (confidence_at_threshold >= 0 and confidence_at_threshold <= 1)
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
    standing_figure.after_treatment as after_treatment,
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
    standing_figure.mean_range as mean_range,
    standing_figure.confidence_at_threshold as confidence_at_threshold,
    standing_figure.probability_at_threshold as probability_at_threshold,
    standing_figure.undetermined as undetermined,
    standing_figure.further_sites as further_sites,
    standing_figure.season_k as season_k,
    standing_figure.season_k_information as season_k_information,
    standing_figure.hatch_from as hatch_from,
    standing_figure.hatch_to as hatch_to,
    standing_figure.window_opens as window_opens,
    standing_figure.window_closes as window_closes,
    standing_figure.window_basis as window_basis
from standing_figure
order by standing_figure.field_id, standing_figure.iso_week, standing_figure.protocol
