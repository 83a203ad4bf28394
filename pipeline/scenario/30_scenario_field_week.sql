-- A field in a week under the economics of a scenario, and under those of its record for comparison.
--
-- The reference visit is the same in both, since a scenario changes amounts and no count. The crop saved is computed
-- outside the stages by the relation in the protocol's file (table field_saved). It is null where the file states no
-- relation, the crop stage is outside the window, or the field was treated.
--
-- grain:   one row per field, week and protocol
-- key:     field_id, iso_week, protocol
-- reads:   changed_field_week, recorded_field_week, field_amount, field_saved, scenario
-- privacy: private
-- columns:
--   scenario               text    not null  economics of the scenario, as given to rollup --with: hypothetical, not an observed result, never published
--   field_id               text    not null  ID code of the field
--   iso_week               text    not null  name of the week of observed_on: the ISO 8601 week that holds its middle day, as 2026-W30
--   protocol               text    not null  id of the protocol
--   season                 int     not null  year of the week
--   county_id              text    not null  county in which the field's point is
--   farm_id                text    null      ID code of the farm
--   visit_id               text    not null  id of the reference visit
--   observed_on            date    not null  its visit date
--   crop_stage             text    not null  its crop stage
--   in_window              boolean not null  whether its crop stage is in the protocol's stage window
--   after_treatment        boolean not null  whether its counts follow a treatment within the protocol's days, or one without a date: the field is then treated and not counted
--   area_ha                double  not null  [har] area of the field in hectares
--   field_mean             double  not null  mean of the site means
--   currency               text    null      ISO 4217 code of the amounts of money
--   treatment_cost_per_ha  double  null      cost of one treatment under the scenario, money per hectare
--   market_value_per_kg    double  null      market price under the scenario, money per kilogram
--   plants_per_ha          double  null      [{plant}/har] plant population per hectare under the scenario
--   threshold_as_recorded  double  null      threshold of the field under the economics of its record, in the unit of field_mean
--   pressure_as_recorded   double  null      [1] field_mean / threshold_as_recorded
--   threshold              double  not null  threshold of the field under the scenario, in the unit of field_mean
--   pressure               double  not null  [1] field_mean / threshold; 1 = at threshold
--   saved_kg_per_ha        double  null      [kg/har] crop that a treatment is expected to save, by the damage relation in the protocol's file; null without one
--   loss_avoided_per_ha    double  null      saved_kg_per_ha x market_value_per_kg, money per hectare
--   net_benefit_per_ha     double  null      loss_avoided_per_ha - treatment_cost_per_ha, money per hectare; below 0 if treating costs more than it saves
-- checks:
--   pressure >= 0
--   (in_window and not after_treatment) or saved_kg_per_ha is null
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
    changed_field_week.after_treatment as after_treatment,
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
