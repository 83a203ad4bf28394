-- The reference visit of a field in a week: the one that is used for the field's figures.
--
-- A field is scouted again when a count is doubtful, and the later visit is better informed. So it is the
-- last visit within the stage window that follows no treatment, by (observed_on, visit_id). A field whose visits within
-- the window all follow a treatment is kept with in_window and after_treatment = true, one with visits outside the window
-- only with in_window = false; each is counted as such and used for nothing else.
--
-- grain:   one row per field, week and protocol
-- key:     field_id, iso_week, protocol
-- reads:   visit_pressure
-- privacy: private
-- columns:
--   field_id                text    not null  ID code of the field
--   iso_week                text    not null  name of the week of observed_on: the ISO 8601 week that holds its middle day, as 2026-W30
--   protocol                text    not null  id of the protocol
--   season                  int     not null  year of the week
--   county_id               text    not null  county in which the field's point is
--   farm_id                 text    null      ID code of the farm
--   visit_id                text    not null  id of the reference visit
--   observed_on             date    not null  its visit date
--   crop_stage              text    not null  its crop stage
--   in_window               boolean not null  whether its crop stage is in the protocol's stage window
--   after_treatment         boolean not null  whether its counts follow a treatment within the protocol's days, or one without a date
--   lon                     double  null      [deg] longitude of the field, WGS 84; null where only its county is known
--   lat                     double  null      [deg] latitude of the field, WGS 84; null where only its county is known
--   area_ha                 double  not null  [har] area of the field in hectares
--   sites                   int     not null  [{site}] sites sampled
--   units                   int     not null  [{unit}] units examined
--   field_mean              double  not null  mean of the site means
--   variance_between_sites  double  null      variance of the site means; null if there is one site
--   variance_within_sites   double  null      variance of units within sites; null if each site has one unit
--   standard_error          double  null      standard error of field_mean; null if there is one site
--   economics_assumed       boolean not null  whether the threshold uses economics filled in from defaults
--   threshold               double  not null  threshold of the field in the unit of field_mean
--   pressure                double  not null  [1] field_mean / threshold; 1 = at threshold
-- checks:
--   pressure >= 0
-- computed: standing_figure by standing_figure.rs
-- computed columns:
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
--   window_closes             date    null      last such day
--   window_basis              text    null      basis of the two dates: weather, or days (ranges of the protocol)
with latest as (
    -- The largest text wins: 2 within the window, 1 within it after a treatment, 0 outside it, then
    -- the visit date and the id.
    select
        field_id as field_id,
        iso_week as iso_week,
        protocol as protocol,
        max(
            case when not in_window then '0' when after_treatment then '1' else '2' end
            || cast(observed_on as varchar)
            || visit_id
        ) as place
    from visit_pressure
    group by field_id, iso_week, protocol
)

select
    visit_pressure.field_id as field_id,
    visit_pressure.iso_week as iso_week,
    visit_pressure.protocol as protocol,
    visit_pressure.season as season,
    visit_pressure.county_id as county_id,
    visit_pressure.farm_id as farm_id,
    visit_pressure.visit_id as visit_id,
    visit_pressure.observed_on as observed_on,
    visit_pressure.crop_stage as crop_stage,
    visit_pressure.in_window as in_window,
    visit_pressure.after_treatment as after_treatment,
    visit_pressure.lon as lon,
    visit_pressure.lat as lat,
    visit_pressure.area_ha as area_ha,
    visit_pressure.sites as sites,
    visit_pressure.units as units,
    visit_pressure.field_mean as field_mean,
    visit_pressure.variance_between_sites as variance_between_sites,
    visit_pressure.variance_within_sites as variance_within_sites,
    visit_pressure.standard_error as standard_error,
    visit_pressure.economics_assumed as economics_assumed,
    visit_pressure.threshold as threshold,
    visit_pressure.pressure as pressure
from visit_pressure
inner join latest on visit_pressure.visit_id = substr(latest.place, 12)
