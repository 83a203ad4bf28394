-- Where was scouted: the cells of a grid in which enough fields were visited in a week.
--
-- A point says that fields were visited around it and nothing else: no count, no pressure. The field's
-- point is moved to the middle of its cell, always the same, so that points of several weeks cannot be
-- averaged. The grid: rows of equal height from the equator, point_grid_km high on a sphere of the mean
-- radius 6371.0088 km (IUGG; Moritz 2000, J. Geod. 74:128-133); each row is cut into the whole number of
-- columns that makes them about as wide in its middle.
--
-- Only fields of county-weeks that are shown take part, and a cell needs as many fields, and where farms are
-- given farms, as a county-week does; others are left out without a trace. So nothing here depends on a
-- field of a suppressed county-week, and no comparison of cells with counties can say anything about one.
--
-- grain:   one row a grid cell, ISO week and protocol
-- key:     cell, iso_week, protocol
-- reads:   field_week, county_week, current_visit, setting
-- privacy: public
-- columns:
--   cell      text    not null  row and column of the grid's cell, as 482.1093
--   cell_lon  double  not null  [deg] longitude of the cell's middle, WGS 84
--   cell_lat  double  not null  [deg] latitude of the cell's middle, WGS 84
--   grid_km   double  not null  [km] height and about the width of a cell
--   season    int     not null  ISO week-year
--   iso_week  text    not null  ISO 8601 week, as 2026-W30
--   protocol  text    not null  id of the protocol
-- checks:
--   cell_lon between -180 and 180
--   cell_lat between -90 and 90
with scouted as (
    select
        field_week.field_id as field_id,
        field_week.farm_id as farm_id,
        field_week.season as season,
        field_week.iso_week as iso_week,
        field_week.protocol as protocol,
        current_visit.lon as lon,
        current_visit.lat as lat,
        setting.point_grid_km as grid_km,
        degrees(setting.point_grid_km / 6371.0088) as row_height,
        setting.min_fields as min_fields,
        setting.min_farms as min_farms
    from field_week
    inner join county_week
        on
            field_week.county_id = county_week.county_id
            and field_week.iso_week = county_week.iso_week
            and field_week.protocol = county_week.protocol
    inner join current_visit on field_week.visit_id = current_visit.visit_id
    cross join setting
    where not county_week.suppressed
),

in_rows as (
    select
        *,
        cast(floor(lat / row_height) as bigint) as grid_row,
        greatest(-90.0, least(90.0, (floor(lat / row_height) + 0.5) * row_height)) as middle_lat
    from scouted
),

in_columns as (
    select
        *,
        greatest(1.0, round(360.0 * cos(radians(middle_lat)) / row_height)) as row_columns
    from in_rows
),

in_cells as (
    select
        *,
        cast(
            least(row_columns - 1.0, floor((lon + 180.0) / 360.0 * row_columns)) as bigint
        ) as grid_column
    from in_columns
),

farms as (
    -- Counted in two steps: a set of farms for each of many cells would take long to keep.
    select
        grid_row as grid_row,
        grid_column as grid_column,
        row_columns as row_columns,
        middle_lat as middle_lat,
        grid_km as grid_km,
        season as season,
        iso_week as iso_week,
        protocol as protocol,
        min_fields as min_fields,
        min_farms as min_farms,
        coalesce('farm ' || farm_id, 'field ' || field_id) as farm,
        count(*) as fields,
        count(farm_id) as farms_given
    from in_cells
    group by
        grid_row,
        grid_column,
        row_columns,
        middle_lat,
        grid_km,
        season,
        iso_week,
        protocol,
        min_fields,
        min_farms,
        coalesce('farm ' || farm_id, 'field ' || field_id)
),

cells as (
    select
        grid_row as grid_row,
        grid_column as grid_column,
        row_columns as row_columns,
        middle_lat as middle_lat,
        grid_km as grid_km,
        season as season,
        iso_week as iso_week,
        protocol as protocol
    from farms
    group by
        grid_row,
        grid_column,
        row_columns,
        middle_lat,
        grid_km,
        season,
        iso_week,
        protocol,
        min_fields,
        min_farms
    having
        sum(fields) >= min_fields
        and (sum(farms_given) = 0 or count(*) >= min_farms)
)

select
    cast(grid_row as varchar) || '.' || cast(grid_column as varchar) as cell,
    round(-180.0 + (cast(grid_column as double) + 0.5) * 360.0 / row_columns, 5) as cell_lon,
    round(middle_lat, 5) as cell_lat,
    grid_km as grid_km,
    season as season,
    iso_week as iso_week,
    protocol as protocol
from cells
order by cell, iso_week, protocol
