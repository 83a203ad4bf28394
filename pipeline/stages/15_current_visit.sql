-- The visits that count: the highest revision of each visit, unless it withdraws the visit.
--
-- A row of visits is visible once a receipt names its load. A revision is superseded if a higher one
-- of the same visit is visible, whichever arrived first.
--
-- named_day has the days whose week has another name than the ISO week of the day, as weeks that start on another day than
-- Monday have; it is empty where weeks start on Monday.
--
-- grain:   one row per visit
-- key:     visit_id
-- reads:   visits, receipts, newest_revision, named_day
-- privacy: private
-- columns:
--   visit_id                text    not null  id of the visit
--   field_id                text    not null  ID code of the field
--   farm_id                 text    null      ID code of the farm
--   county_id               text    not null  county in which the field is
--   season                  int     not null  year of the week
--   iso_week                text    not null  name of the week of observed_on: the ISO 8601 week that holds its middle day, as 2026-W30
--   observed_on             date    not null  visit date
--   protocol                text    not null  id of the protocol
--   crop_type               text    not null  such as oilseed or confection
--   crop_stage              text    not null  crop stage
--   stage_first             int     not null  first position of the stage on the common scale of stages
--   stage_last              int     not null  last position of the stage
--   treated_on              date    null      day of the latest treatment before the visit; null if not given
--   treatment               text    null      kind of that treatment: none, insecticide or other; null if not given
--   lon                     double  null      [deg] longitude of the field, WGS 84; null where only its county is known
--   lat                     double  null      [deg] latitude of the field, WGS 84; null where only its county is known
--   area_ha                 double  not null  [har] area of the field in hectares
--   treatment_cost_per_ha   double  null      treatment cost, money per hectare; null if not given and not needed
--   market_value_per_kg     double  null      market price, money per kilogram; null if not given and not needed
--   plants_per_ha           double  null      [{plant}/har] plant population per hectare; null if not given and not needed
--   economics_assumed       boolean not null  whether any of the three was filled in from defaults
--   sites                   int     not null  [{site}] sites sampled
--   units                   int     not null  [{unit}] units examined
--   field_mean              double  not null  mean of the site means
--   variance_between_sites  double  null      variance of the site means; null if there is one site
--   variance_within_sites   double  null      variance of units within sites; null if each site has one unit
--   standard_error          double  null      standard error of field_mean; null if there is one site
-- checks:
--   field_mean >= 0
--   area_ha > 0
-- computed: visit_threshold by threshold.rs
-- computed columns:
--   threshold               double  null      threshold of the field, in the unit of field_mean, by the expression of its protocol (`bractline protocols sql`); null where the record lacks what it needs
with visible as (
    select *
    from visits
    where load_id in (select load_id from receipts)
)

select
    visible.visit_id as visit_id,
    visible.field_id as field_id,
    visible.farm_id as farm_id,
    visible.county_id as county_id,
    -- The year of the week. A file's folder names its season, but a cluster reads the files only.
    cast(substr(coalesce(named_day.iso_week, visible.iso_week), 1, 4) as integer) as season,
    coalesce(named_day.iso_week, visible.iso_week) as iso_week,
    visible.observed_on as observed_on,
    visible.protocol as protocol,
    visible.crop_type as crop_type,
    visible.crop_stage as crop_stage,
    visible.stage_first as stage_first,
    visible.stage_last as stage_last,
    visible.treated_on as treated_on,
    visible.treatment as treatment,
    -- Where only the county is known, the row has a point inside it, which is nobody's field.
    case when visible.point_from is null then visible.lon end as lon,
    case when visible.point_from is null then visible.lat end as lat,
    visible.area_ha as area_ha,
    visible.treatment_cost_per_ha as treatment_cost_per_ha,
    visible.market_value_per_kg as market_value_per_kg,
    visible.plants_per_ha as plants_per_ha,
    visible.assumed is not null as economics_assumed,
    visible.sites as sites,
    visible.units as units,
    visible.field_mean as field_mean,
    visible.variance_between_sites as variance_between_sites,
    visible.variance_within_sites as variance_within_sites,
    visible.standard_error as standard_error
from visible
left join newest_revision on visible.visit_id = newest_revision.visit_id
left join named_day on visible.observed_on = named_day.observed_on
where
    not visible.retracted
    and visible.revision = coalesce(newest_revision.revision, visible.revision)
