-- The scouted areas: cells of a grid in which enough fields of a public row were visited in a week.
--
-- A point says that fields around it were visited and nothing else: no count, no pressure. It is always the middle of
-- its cell, so that averaging the points of several weeks reveals nothing. Each public row has its own list of cells,
-- and a cell needs as many fields and farms of the row as a row does.
--
-- grain:   one row per grid cell, week and protocol
-- key:     cell, iso_week, protocol
-- reads:   public_cell
-- privacy: public
-- columns:
--   cell        text    not null  id of the grid cell, its row and column, as r482c1093; a row that an older program made public has it as 482.1093
--   cell_lon    double  not null  [deg] longitude of the center of the cell, WGS 84
--   cell_lat    double  not null  [deg] latitude of the center of the cell, WGS 84
--   grid_km     double  not null  [km] height and approximate width of a cell
--   season      int     not null  ISO week-year
--   iso_week    text    not null  name of the week: the ISO 8601 week that holds its middle day, as 2026-W30
--   week_start  date    not null  first day of the week
--   week_end    date    not null  last day of the week
--   protocol    text    not null  id of the protocol
-- checks:
--   cell_lon between -180 and 180
--   cell_lat between -90 and 90
select
    cell as cell,
    cell_lon as cell_lon,
    cell_lat as cell_lat,
    grid_km as grid_km,
    season as season,
    iso_week as iso_week,
    week_start as week_start,
    week_end as week_end,
    protocol as protocol
from public_cell
group by cell, cell_lon, cell_lat, grid_km, season, iso_week, week_start, week_end, protocol
order by cell, iso_week, protocol
