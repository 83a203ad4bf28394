//! The visits that count and their raw counts, as tables that are complete without the store: what a
//! researcher who may see everything takes home.
//!
//! Private from end to end. Of each visit only the revision that counts is here, with the threshold and the
//! pressure that the stages gave it, and every unit that it is based on; so each figure of the roll-up can be
//! computed again from these two tables alone.

use std::sync::Arc;

use arrow::compute::{cast, concat_batches};
use arrow::datatypes::{Field, Schema};
use datafusion::error::DataFusionError;

use crate::figures::described_table::DescribedTable;
use scouting::failure::{Failure, Kind};
use store::delta::snapshot::Snapshot;
use store::stages::engine::register;
use store::stages::files::columns_of;
use store::stages::rollup::Rollup;

/// Tables of the stages that these tables are based on and that a roll-up lets go of otherwise.
pub(crate) const KEPT_FOR_IT: [&str; 1] = ["visit_pressure"];

/// One row per visit, in the form of a stage's header.
const VISIT: &str = "\
visit_id                 text     not null  identity of the visit
revision                 int      not null  the revision that counts: the highest, unless it withdraws the visit
season                   int      not null  ISO week-year of observed_on
iso_week                 text     not null  ISO 8601 week of observed_on, as 2026-W30
observed_on              date     not null  visit date
submitted_at             text     not null  when the record was submitted, as its sender says; UTC, ISO 8601
observer_id              text     not null  scout ID
field_id                 text     not null  field ID
farm_id                  text     null      farm ID
county_id                text     not null  county of the point, from the region's boundaries; without a point the county that the scout stated
county_id_stated         text     null      county as the scout stated it
lon                      double   null      [deg] longitude of the field, WGS 84; null where only its county is known
lat                      double   null      [deg] latitude of the field, WGS 84; null where only its county is known
outline                  text     null      outline of the field, GeoJSON Polygon
area_ha                  double   not null  [har] area of the field, hectares
crop_type                text     not null  oilseed, confection and so on
protocol                 text     not null  id of the protocol
crop_stage               text     not null  crop stage, in the scale's own writing
crop_stage_stated        text     not null  crop stage as submitted
stage_first              int      not null  first place of the stage on the common order of stages
stage_last               int      not null  last place of the stage; differs from the first for R5 alone
treated_on               date     null      day of the latest treatment of the field before the visit, as stated; null if it was not given
treatment                text     null      kind of that treatment: none, insecticide or other; null if it was not given
treatment_cost_amount    double   null      cost of one treatment as submitted, money; null if it was not given
treatment_cost_per       text     null      acre or ha
treatment_cost_currency  text     null      ISO 4217 code
treatment_cost_per_ha    double   null      cost of one treatment, money per hectare; null if neither given nor needed
market_value_amount      double   null      market value as submitted, money; null if it was not given
market_value_per         text     null      lb or kg
market_value_currency    text     null      ISO 4217 code
market_value_per_kg      double   null      market value, money per kilogram; null if neither given nor needed
plant_population_count   double   null      plants as submitted; null if they were not given
plant_population_per     text     null      acre or ha
plants_per_ha            double   null      [{plant}/har] plants per hectare; null if neither given nor needed
assumed                  text     null      which of treatment_cost market_value plant_population the workspace's defaults filled in, space between
count_form               text     not null  heads, plants or traps
sites                    int      not null  [{site}] sites sampled
units                    int      not null  [{unit}] units examined: heads, plants or traps
total                    bigint   not null  all that was counted
field_mean               double   not null  mean of the site means
variance_between_sites   double   null      variance of the site means; null if there is one site
variance_within_sites    double   null      variance of units about their site's mean; null if each site has one unit
standard_error           double   null      standard error of field_mean; null if there is one site
threshold                double   null      threshold of the field, in the unit of field_mean; null where the protocol gives none without economics that the record lacks
pressure                 double   null      [1] field_mean / threshold; 1 = at threshold
in_window                boolean  null      whether the crop stage is in the protocol's stage window; null without a threshold
after_treatment          boolean  null      whether the counts follow a treatment within the protocol's days, or one without a date; null without a threshold
is_reference             boolean  not null  whether it is the reference visit of its field in its week
flags                    text     null      codes of the data quality flags of the record, separated by spaces
remarks                  text     null      what the scout added
submission_sha256        text     not null  SHA-256 of the submission that brought it, hexadecimal
line                     bigint   not null  line of the submission, or place in its JSON array, from 1";

/// One row per unit of these visits.
const UNIT: &str = "\
visit_id  text    not null  identity of the visit
site      int     not null  number of the site within the visit
unit      int     not null  number of the unit within the site, from 1
side      text    null      side of the field
site_lon  double  null      [deg] longitude of the site, WGS 84
site_lat  double  null      [deg] latitude of the site, WGS 84
total     bigint  not null  sum of the unit's counts
counts    text    not null  the counts within the unit, in order, space between: six bracts, or one number
nights    int     null      [d] trap-nights of the catch
season    int     not null  ISO week-year of the visit's day";

/// As `pipeline/stages/15_current_visit.sql` has it: the highest revision, unless it withdraws the visit.
const CURRENT: &str = "
with visible as (
    select * from visits where load_id in (select load_id from receipts)
),

higher as (
    select visit_id as visit_id, revision as revision from visible where revision > 1
),

current_revision as (
    select visible.*
    from visible
    where
        not visible.retracted
        and not exists (
            select 1
            from higher
            where higher.visit_id = visible.visit_id and higher.revision > visible.revision
        )
)
";

/// What is not a column of `visits` as it is.
const COMPUTED: [(&str, &str); 8] = [
    ("lon", "case when v.point_from is null then v.lon end"),
    ("lat", "case when v.point_from is null then v.lat end"),
    (
        "submitted_at",
        "to_char(v.submitted_at, '%Y-%m-%dT%H:%M:%S%.fZ')",
    ),
    ("threshold", "pressed.threshold"),
    ("pressure", "pressed.pressure"),
    ("in_window", "pressed.in_window"),
    ("after_treatment", "pressed.after_treatment"),
    ("is_reference", "standing.visit_id is not null"),
];

/// The tables `visit` and `unit`.
#[derive(Debug, Clone)]
pub(crate) struct TakeHome {
    /// One row per visit that counts, by its id.
    pub visit: DescribedTable,
    /// One row per unit of these visits, by visit, site and unit.
    pub unit: DescribedTable,
}

/// The visits of a season, or of all, and their units, at the version that was rolled up. The roll-up must
/// have kept [`KEPT_FOR_IT`].
///
/// # Errors
/// A [`Failure`] if the store cannot be read.
pub(crate) async fn take_home(
    snapshot: &Snapshot,
    rollup: &Rollup,
    season: Option<i32>,
) -> Result<TakeHome, Failure> {
    let session = snapshot.session();
    for (name, table) in [("pressed", "visit_pressure"), ("standing", "field_week")] {
        let kept = rollup.table(table).ok_or_else(|| {
            Failure::new(
                Kind::Stage,
                format!("the roll-up did not keep the table {table}"),
            )
        })?;
        let batch = kept.batch.clone();
        register(session, name, batch.schema(), vec![vec![batch]])?;
    }
    let of_season = |table: &str| match season {
        Some(season) => format!("where {table}.season = {season}"),
        None => String::new(),
    };
    let columns = columns_of("visit", VISIT)?;
    let chosen = columns.iter().map(|column| {
        let computed = COMPUTED.iter().find(|(name, _)| *name == column.name);
        match computed {
            Some((name, expression)) => format!("{expression} as {name}"),
            None => format!("v.{0} as {0}", column.name),
        }
    });
    let chosen = chosen.collect::<Vec<_>>().join(", ");
    let visits = format!(
        "{CURRENT} select {chosen} from current_revision v \
         left join pressed on v.visit_id = pressed.visit_id \
         left join standing on v.visit_id = standing.visit_id \
         {} order by v.visit_id",
        of_season("v")
    );
    let units = format!(
        "{CURRENT} select u.visit_id as visit_id, u.site as site, u.unit as unit, u.side as side, \
         u.site_lon as site_lon, u.site_lat as site_lat, u.total as total, \
         array_to_string(u.counts, ' ') as counts, u.nights as nights, u.season as season \
         from units u inner join current_revision v \
         on u.visit_id = v.visit_id and u.revision = v.revision and u.load_id = v.load_id \
         {} order by u.visit_id, u.site, u.unit",
        of_season("u")
    );
    Ok(TakeHome {
        visit: rows_of(snapshot, "visit", VISIT, &visits).await?,
        unit: rows_of(snapshot, "unit", UNIT, &units).await?,
    })
}

/// The answer of a query, in the types that its columns promise.
async fn rows_of(
    snapshot: &Snapshot,
    table: &str,
    columns: &str,
    query: &str,
) -> Result<DescribedTable, Failure> {
    let failed = |error: DataFusionError| {
        Failure::because(Kind::Store, "cannot read the visits", error)
            .mend("`bractline store verify` names the file that is damaged")
    };
    let columns = columns_of(table, columns)?;
    let frame = snapshot.session().sql(query).await.map_err(failed)?;
    let found = Arc::new(frame.schema().as_arrow().clone());
    let batches = frame.collect().await.map_err(failed)?;
    let found = batches.first().map_or(found, |batch| batch.schema());
    let batch = concat_batches(&found, &batches).map_err(|error| failed(error.into()))?;
    let fields = columns
        .iter()
        .map(|column| Field::new(&column.name, column.data_type.clone(), column.nullable));
    let schema = Arc::new(Schema::new(fields.collect::<Vec<_>>()));
    let arrays = columns
        .iter()
        .zip(batch.columns())
        .map(|(column, array)| cast(array, &column.data_type))
        .collect::<Result<Vec<_>, _>>();
    let batch = arrays
        .and_then(|arrays| arrow::array::RecordBatch::try_new(schema, arrays))
        .map_err(|error| failed(error.into()))?;
    Ok(DescribedTable { columns, batch })
}
