-- The pressure of each visit, whether its crop stage is in the protocol's stage window, and whether it follows a treatment.
--
-- visit_threshold is current_visit with the threshold of each field, computed from the field's own
-- economics by the expression of its protocol (computed: in 15_current_visit.sql). A stage that covers several positions of the scale, such
-- as R5 alone, is in the window only if all of them are. A visit without a threshold has no pressure and
-- is left out; the roll-up reports how many there are. This happens only if the protocol was changed
-- after the visit was loaded, and now requires economics that the visit lacks.
--
-- A count from the day of a treatment to the last day that the protocol names ([after_treatment] days) says how well
-- the treatment worked. A treatment without a date may have been on any of these days.
--
-- grain:   one row per visit
-- key:     visit_id
-- reads:   visit_threshold, protocol_window
-- privacy: private
-- columns:
--   visit_id                text    not null  id of the visit
--   field_id                text    not null  ID code of the field
--   farm_id                 text    null      ID code of the farm
--   county_id               text    not null  county in which the field's point is
--   season                  int     not null  year of the week
--   iso_week                text    not null  name of the week of observed_on: the ISO 8601 week that holds its middle day, as 2026-W30
--   observed_on             date    not null  visit date
--   protocol                text    not null  id of the protocol
--   crop_stage              text    not null  crop stage
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
--   in_window               boolean not null  whether the crop stage is in the protocol's stage window
--   after_treatment         boolean not null  whether the counts follow a treatment within the protocol's days, or one without a date
-- checks:
--   threshold > 0
--   pressure >= 0
select
    visit_threshold.visit_id as visit_id,
    visit_threshold.field_id as field_id,
    visit_threshold.farm_id as farm_id,
    visit_threshold.county_id as county_id,
    visit_threshold.season as season,
    visit_threshold.iso_week as iso_week,
    visit_threshold.observed_on as observed_on,
    visit_threshold.protocol as protocol,
    visit_threshold.crop_stage as crop_stage,
    visit_threshold.lon as lon,
    visit_threshold.lat as lat,
    visit_threshold.area_ha as area_ha,
    visit_threshold.sites as sites,
    visit_threshold.units as units,
    visit_threshold.field_mean as field_mean,
    visit_threshold.variance_between_sites as variance_between_sites,
    visit_threshold.variance_within_sites as variance_within_sites,
    visit_threshold.standard_error as standard_error,
    visit_threshold.economics_assumed as economics_assumed,
    visit_threshold.threshold as threshold,
    visit_threshold.field_mean / visit_threshold.threshold as pressure,
    visit_threshold.stage_first >= protocol_window.stage_first
    and visit_threshold.stage_last <= protocol_window.stage_last as in_window,
    case
        when visit_threshold.treated_on is null
            then coalesce(visit_threshold.treatment, 'none') <> 'none'
        else
            cast(visit_threshold.observed_on as integer)
            - cast(visit_threshold.treated_on as integer)
            <= protocol_window.after_treatment_days
    end as after_treatment
from visit_threshold
inner join protocol_window on visit_threshold.protocol = protocol_window.protocol
where visit_threshold.threshold > 0
