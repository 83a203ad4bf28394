-- The currency of the amounts of each visit.
--
-- The highest visible revision of each visit counts, as in current_visit. A withdrawn visit has a row too, which nothing
-- joins. Amounts that the workspace assumed have no currency of their own.
--
-- grain:   one row per visit
-- key:     visit_id
-- reads:   visits, receipts
-- privacy: private
-- columns:
--   visit_id  text  not null  id of the visit
--   currency  text  null      ISO 4217 code of its treatment cost or, without one, of its market value
-- checks:
--   visit_id <> ''
with visible as (
    select
        visit_id as visit_id,
        revision as revision,
        coalesce(treatment_cost_currency, market_value_currency) as currency
    from visits
    where load_id in (select load_id from receipts)
),

newest as (
    select
        visit_id as visit_id,
        max(revision) as revision
    from visible
    group by visit_id
)

select
    visible.visit_id as visit_id,
    visible.currency as currency
from visible
inner join newest
    on visible.visit_id = newest.visit_id and visible.revision = newest.revision
