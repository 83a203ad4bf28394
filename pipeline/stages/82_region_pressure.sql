-- How the fields of a week spread over the classes of pressure: one row a class, for the whole region.
--
-- Only fields of counties that are shown are counted, so the classes add up to the fields that county_week
-- names, and nothing is left over that a suppressed county could be told from. A class without a field has no
-- row. Bounds are those of the map (src/publish/classes.rs), a class of its own holding the fields in which
-- nothing was found; 1e-12 below a bound counts as at it, as in stage 50.
--
-- grain:   one row a class of pressure, ISO week and protocol
-- key:     iso_week, protocol, nothing_found, pressure_from
-- reads:   field_week, county_week
-- privacy: public
-- columns:
--   season          int     not null  ISO week-year
--   iso_week        text    not null  ISO 8601 week, as 2026-W30
--   protocol        text    not null  id of the protocol
--   nothing_found   boolean not null  whether it is the class of the fields in which nothing was found
--   pressure_from   double  not null  [1] lower bound of the class, included; 1 = at threshold
--   pressure_below  double  null      [1] upper bound, not included; null for the highest class and for nothing found
--   fields          bigint  not null  [{field}] fields visited within the stage window, in the counties shown
-- checks:
--   fields > 0
--   pressure_below is null or pressure_from < pressure_below
--   not nothing_found or (pressure_from = 0 and pressure_below is null)
with fields_shown as (
    select
        field_week.season as season,
        field_week.iso_week as iso_week,
        field_week.protocol as protocol,
        field_week.pressure + 1e-12 as pressure,
        field_week.pressure = 0 as nothing_found
    from field_week
    inner join county_week
        on
            field_week.county_id = county_week.county_id
            and field_week.iso_week = county_week.iso_week
            and field_week.protocol = county_week.protocol
    where field_week.in_window and not county_week.suppressed
),

classed as (
    select
        season as season,
        iso_week as iso_week,
        protocol as protocol,
        nothing_found as nothing_found,
        case
            when nothing_found then 0.0
            when pressure >= 1.5 then 1.5
            when pressure >= 1.0 then 1.0
            when pressure >= 0.75 then 0.75
            when pressure >= 0.5 then 0.5
            when pressure >= 0.25 then 0.25
            else 0.0
        end as pressure_from
    from fields_shown
)

select
    season as season,
    iso_week as iso_week,
    protocol as protocol,
    nothing_found as nothing_found,
    pressure_from as pressure_from,
    case
        when nothing_found or pressure_from = 1.5 then null
        when pressure_from = 1.0 then 1.5
        else pressure_from + 0.25
    end as pressure_below,
    count(*) as fields
from classed
group by season, iso_week, protocol, nothing_found, pressure_from
order by iso_week, protocol, nothing_found desc, pressure_from
