-- How far the crop has come: in a week, how many fields stand in which crop stage, for the whole region.
--
-- Counts fields of counties that are shown, those inside the stage window and those outside it. Stages are taken
-- together as far as a bulletin tells them apart: every vegetative stage as V, R5.0 to R5.9 as R5. A stage without
-- a field has no row.
--
-- grain:   one row a group of crop stages, ISO week and protocol
-- key:     iso_week, protocol, crop_stage
-- reads:   field_week, county_week
-- privacy: public
-- columns:
--   season            int    not null  ISO week-year
--   iso_week          text   not null  ISO 8601 week, as 2026-W30
--   protocol          text   not null  id of the protocol
--   crop_stage        text   not null  V, R1 to R9, or a stage of the protocol's own scale
--   fields            bigint not null  [{field}] fields whose visit that stands found that stage, in the counties shown
--   fields_in_window  bigint not null  [{field}] fields of these within the protocol's stage window
-- checks:
--   fields > 0 and fields_in_window >= 0 and fields_in_window <= fields
with fields_shown as (
    select
        field_week.season as season,
        field_week.iso_week as iso_week,
        field_week.protocol as protocol,
        field_week.in_window as in_window,
        case
            when
                field_week.crop_stage = 'VE'
                or field_week.crop_stage between 'V0' and 'V9z'
                then 'V'
            when field_week.crop_stage like 'R5.%' then 'R5'
            else field_week.crop_stage
        end as crop_stage
    from field_week
    inner join county_week
        on
            field_week.county_id = county_week.county_id
            and field_week.iso_week = county_week.iso_week
            and field_week.protocol = county_week.protocol
    where not county_week.suppressed
)

select
    season as season,
    iso_week as iso_week,
    protocol as protocol,
    crop_stage as crop_stage,
    count(*) as fields,
    sum(case when in_window then 1 else 0 end) as fields_in_window
from fields_shown
group by season, iso_week, protocol, crop_stage
order by iso_week, protocol, crop_stage
