-- A field in a week under the economics of a scenario, beside what it is under those of its record.
--
-- The visit that stands is the same in both: a scenario changes amounts, no count. The crop saved is computed
-- beside the stages by the relation of the protocol's file (table field_saved, src/protocol/damage.rs); where the
-- file states none, or the crop stage lies outside the window, there is none, and nothing takes its place.
--
-- grain:   one row a field, ISO week and protocol
-- key:     field_id, iso_week, protocol
-- reads:   changed_field_week, recorded_field_week, field_amount, field_saved, scenario
-- privacy: private
-- columns:
--   scenario               text    not null  the economics that were asked for, as rollup --with takes them: no finding, never to be published
--   field_id               text    not null  pseudonym of the field
--   iso_week               text    not null  ISO 8601 week of observed_on, as 2026-W30
--   protocol               text    not null  id of the protocol
--   season                 int     not null  ISO week-year of observed_on
--   county_id              text    not null  county of the field's point
--   farm_id                text    null      pseudonym of the farm
--   visit_id               text    not null  the visit that stands
--   observed_on            date    not null  its day
--   crop_stage             text    not null  its crop stage
--   in_window              boolean not null  whether its crop stage lies in the protocol's window
--   area_ha                double  not null  [har] area of the field, hectares
--   field_mean             double  not null  mean of the site means
--   currency               text    null      ISO 4217 code of the amounts of money
--   treatment_cost_per_ha  double  null      cost of one treatment under the scenario, money per hectare
--   market_value_per_kg    double  null      market value under the scenario, money per kilogram
--   plants_per_ha          double  null      [{plant}/har] plants standing under the scenario, per hectare
--   threshold_as_recorded  double  null      threshold of the field under the economics of its record, in the unit of field_mean
--   pressure_as_recorded   double  null      [1] field_mean / threshold_as_recorded
--   threshold              double  not null  threshold of the field under the scenario, in the unit of field_mean
--   pressure               double  not null  [1] field_mean / threshold; 1 = at threshold
--   saved_kg_per_ha        double  null      [kg/har] crop that a treatment is expected to save, by the damage relation of the protocol's file; null without one
--   loss_avoided_per_ha    double  null      saved_kg_per_ha x market_value_per_kg, money per hectare
--   net_benefit_per_ha     double  null      loss_avoided_per_ha - treatment_cost_per_ha, money per hectare; below 0 where treating costs more than it saves
-- checks:
--   pressure >= 0
--   in_window or saved_kg_per_ha is null
--   saved_kg_per_ha is null or saved_kg_per_ha >= 0
--   net_benefit_per_ha is null or loss_avoided_per_ha is not null
select
    scenario.scenario as scenario,
    changed_field_week.field_id as field_id,
    changed_field_week.iso_week as iso_week,
    changed_field_week.protocol as protocol,
    changed_field_week.season as season,
    changed_field_week.county_id as county_id,
    changed_field_week.farm_id as farm_id,
    changed_field_week.visit_id as visit_id,
    changed_field_week.observed_on as observed_on,
    changed_field_week.crop_stage as crop_stage,
    changed_field_week.in_window as in_window,
    changed_field_week.area_ha as area_ha,
    changed_field_week.field_mean as field_mean,
    field_amount.currency as currency,
    field_amount.treatment_cost_per_ha as treatment_cost_per_ha,
    field_amount.market_value_per_kg as market_value_per_kg,
    field_amount.plants_per_ha as plants_per_ha,
    recorded_field_week.threshold as threshold_as_recorded,
    recorded_field_week.pressure as pressure_as_recorded,
    changed_field_week.threshold as threshold,
    changed_field_week.pressure as pressure,
    field_saved.saved_kg_per_ha as saved_kg_per_ha,
    field_saved.saved_kg_per_ha * field_amount.market_value_per_kg as loss_avoided_per_ha,
    field_saved.saved_kg_per_ha * field_amount.market_value_per_kg
    - field_amount.treatment_cost_per_ha as net_benefit_per_ha
from changed_field_week
inner join field_amount on changed_field_week.visit_id = field_amount.visit_id
left join recorded_field_week on changed_field_week.visit_id = recorded_field_week.visit_id
left join field_saved on changed_field_week.visit_id = field_saved.visit_id
cross join scenario
order by changed_field_week.field_id, changed_field_week.iso_week, changed_field_week.protocol
