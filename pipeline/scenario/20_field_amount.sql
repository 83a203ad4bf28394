-- The mean count of a field and its economics under the scenario, from which the crop saved is computed.
--
-- changed_visit is current_visit with the economics of the scenario; changed_field_week has the field-weeks that
-- follow from it. If the scenario sets both cost and price, its currency is used for all visits. Otherwise it is each
-- visit's own or, for amounts that the workspace assumed, that of the protocol.
--
-- grain:   one row per field, week and protocol
-- key:     visit_id
-- reads:   changed_field_week, changed_visit, visit_currency, protocol_currency, scenario
-- privacy: private
-- columns:
--   visit_id               text    not null  id of the reference visit
--   protocol               text    not null  id of the protocol
--   in_window              boolean not null  whether its crop stage is in the protocol's stage window
--   after_treatment        boolean not null  whether its counts follow a treatment within the protocol's days, or one without a date
--   field_mean             double  not null  mean of the site means
--   currency               text    null      ISO 4217 code of the amounts of money; null if there is none
--   treatment_cost_per_ha  double  null      treatment cost under the scenario, money per hectare
--   market_value_per_kg    double  null      market price under the scenario, money per kilogram
--   plants_per_ha          double  null      [{plant}/har] plant population per hectare under the scenario
--   area_ha                double  not null  [har] area of the field in hectares
--   crop_type              text    not null  such as oilseed or confection
--   crop_stage             text    not null  crop stage
-- checks:
--   treatment_cost_per_ha is null or treatment_cost_per_ha > 0
--   market_value_per_kg is null or market_value_per_kg > 0
select
    changed_field_week.visit_id as visit_id,
    changed_field_week.protocol as protocol,
    changed_field_week.in_window as in_window,
    changed_field_week.after_treatment as after_treatment,
    changed_field_week.field_mean as field_mean,
    case
        when
            changed_visit.treatment_cost_per_ha is not null
            or changed_visit.market_value_per_kg is not null
            then
                coalesce(
                    scenario.currency_of_all,
                    visit_currency.currency,
                    protocol_currency.currency
                )
    end as currency,
    changed_visit.treatment_cost_per_ha as treatment_cost_per_ha,
    changed_visit.market_value_per_kg as market_value_per_kg,
    changed_visit.plants_per_ha as plants_per_ha,
    changed_field_week.area_ha as area_ha,
    changed_visit.crop_type as crop_type,
    changed_field_week.crop_stage as crop_stage
from changed_field_week
inner join changed_visit on changed_field_week.visit_id = changed_visit.visit_id
left join visit_currency on changed_field_week.visit_id = visit_currency.visit_id
left join protocol_currency on changed_field_week.protocol = protocol_currency.protocol
cross join scenario
