-- A county in a week under the economics of a scenario, and under those of the records for comparison.
--
-- It is private and includes small groups, as county_week_full does: costs and prices of fields could be computed from
-- several scenarios of one week. Amounts of money are given where every field visited has a net benefit, in one currency.
-- Means count each field once and are taken over decimals, which add up the same in any order. 1e-12 below 1 counts as
-- at threshold, as in county_week_full.
--
-- grain:   one row per county, week and protocol
-- key:     county_id, iso_week, protocol
-- reads:   scenario_field_week, changed_county_week, recorded_county_week, scenario
-- privacy: private
-- columns:
--   scenario                         text    not null  economics of the scenario, as given to rollup --with: hypothetical, not an observed result, never published
--   county_id                        text    not null  id of the county
--   county_name                      text    not null  name of the county; its id if the boundaries have no name
--   season                           int     not null  ISO week-year
--   iso_week                         text    not null  name of the week: the ISO 8601 week that holds its middle day, as 2026-W30
--   protocol                         text    not null  id of the protocol
--   fields_visited                   bigint  not null  [{field}] fields with a visit within the stage window that follows no treatment
--   fields_at_threshold_as_recorded  bigint  null      [{field}] fields whose pressure is 1 or more under the economics of the records
--   fields_at_threshold              bigint  not null  [{field}] the same under the scenario
--   share_at_threshold_as_recorded   double  null      [1] their share of the fields visited, as recorded
--   share_at_threshold               double  null      [1] the same under the scenario
--   share_low                        double  null      [1] lower limit of its 95% Wilson confidence interval
--   share_high                       double  null      [1] upper limit of its 95% Wilson confidence interval
--   mean_pressure_as_recorded        double  null      [1] mean of the fields' pressures under the economics of the records; 1 = at threshold
--   mean_pressure                    double  null      [1] the same under the scenario
--   median_pressure_as_recorded      double  null      [1] median of the fields' pressures under the economics of the records; 1 = at threshold
--   median_pressure                  double  null      [1] the same under the scenario
--   currency                         text    null      ISO 4217 code of the columns that follow; all are null unless every field visited has a net benefit in one currency
--   mean_treatment_cost_per_ha       double  null      mean cost of one treatment, money per hectare
--   mean_saved_kg_per_ha             double  null      [kg/har] mean crop saved if every field visited were treated, by the damage relation in the protocol's file
--   mean_loss_avoided_per_ha         double  null      market value of that crop: mean loss avoided, money per hectare
--   mean_net_benefit_per_ha          double  null      mean_loss_avoided_per_ha - mean_treatment_cost_per_ha, money per hectare; below 0 if treating all of them costs more than it saves
--   gain_at_threshold_per_ha         double  null      mean net benefit if only the fields at threshold are treated (others count as 0), money per hectare
-- checks:
--   fields_at_threshold <= fields_visited
--   fields_visited > 0 or (mean_pressure is null and currency is null)
--   (currency is null) = (mean_net_benefit_per_ha is null)
with money as (
    select
        county_id as county_id,
        iso_week as iso_week,
        protocol as protocol,
        min(currency) as currency,
        cast(count(*) as double) as fields,
        count(*) = count(net_benefit_per_ha) and min(currency) = max(currency) as of_all,
        sum(cast(treatment_cost_per_ha as decimal(38, 15))) as treatment_cost,
        sum(cast(saved_kg_per_ha as decimal(38, 15))) as saved_kg,
        sum(cast(loss_avoided_per_ha as decimal(38, 15))) as loss_avoided,
        sum(cast(net_benefit_per_ha as decimal(38, 15))) as net_benefit,
        sum(
            case
                when pressure >= 1.0 - 1e-12 then cast(net_benefit_per_ha as decimal(38, 15))
                else cast(0 as decimal(38, 15))
            end
        ) as gain
    from scenario_field_week
    where in_window and not after_treatment
    group by county_id, iso_week, protocol
)

select
    scenario.scenario as scenario,
    changed_county_week.county_id as county_id,
    changed_county_week.county_name as county_name,
    changed_county_week.season as season,
    changed_county_week.iso_week as iso_week,
    changed_county_week.protocol as protocol,
    changed_county_week.fields_visited as fields_visited,
    recorded_county_week.fields_at_threshold as fields_at_threshold_as_recorded,
    changed_county_week.fields_at_threshold as fields_at_threshold,
    recorded_county_week.share_at_threshold as share_at_threshold_as_recorded,
    changed_county_week.share_at_threshold as share_at_threshold,
    changed_county_week.share_low as share_low,
    changed_county_week.share_high as share_high,
    recorded_county_week.mean_pressure as mean_pressure_as_recorded,
    changed_county_week.mean_pressure as mean_pressure,
    recorded_county_week.median_pressure as median_pressure_as_recorded,
    changed_county_week.median_pressure as median_pressure,
    money.currency as currency,
    cast(money.treatment_cost as double) / money.fields as mean_treatment_cost_per_ha,
    cast(money.saved_kg as double) / money.fields as mean_saved_kg_per_ha,
    cast(money.loss_avoided as double) / money.fields as mean_loss_avoided_per_ha,
    cast(money.net_benefit as double) / money.fields as mean_net_benefit_per_ha,
    cast(money.gain as double) / money.fields as gain_at_threshold_per_ha
from changed_county_week
left join recorded_county_week
    on
        changed_county_week.county_id = recorded_county_week.county_id
        and changed_county_week.iso_week = recorded_county_week.iso_week
        and changed_county_week.protocol = recorded_county_week.protocol
left join money
    on
        money.of_all
        and changed_county_week.county_id = money.county_id
        and changed_county_week.iso_week = money.iso_week
        and changed_county_week.protocol = money.protocol
cross join scenario
order by changed_county_week.county_id, changed_county_week.iso_week, changed_county_week.protocol
