//! The county-weeks of all seasons of a store, rolled up some seasons at a time: ten seasons of a million visits take
//! the memory of one or two.

use super::rollup::note_without_threshold;
use super::setting::roll_up_setting;
use super::{open_catalogue, open_region, open_store, workers};
use crate::failure::Failure;
use crate::region::Region;
use crate::rollup::county_week::CountyWeek;
use crate::rollup::wanted::roll_up_county_weeks;
use crate::rollup::week_heat::WeekHeat;
use crate::store::season_parts::{keep_part, season_parts};
use crate::store::snapshot::{Snapshot, parts_that_pay};
use crate::workspace::Workspace;

/// Rows of visits that are rolled up at once, unless a season alone has more: our choice, some two gigabytes.
const VISITS_AT_ONCE: u64 = 1_500_000;

/// What the comparison of seasons is made from.
pub(super) struct SeasonFigures {
    pub(super) region: Region,
    pub(super) store_version: i64,
    pub(super) county_weeks: Vec<CountyWeek>,
    /// The heat that had come by each week; nothing where the workspace has no temperatures.
    pub(super) heat: WeekHeat,
}

impl SeasonFigures {
    /// Those of the newest version of the store.
    pub(super) async fn of(workspace: &Workspace) -> Result<SeasonFigures, Failure> {
        let store = open_store(workspace).await?;
        let at_once = parts_that_pay(&store, workers()).await?;
        let newest = Snapshot::open(&store, at_once).await?;
        let region = open_region(workspace)?;
        let catalogue = open_catalogue(workspace)?;
        let setting = roll_up_setting(workspace, &region, workspace.weather().as_deref())?;
        let mut county_weeks = Vec::new();
        let mut without_threshold = 0;
        let parts = season_parts(&newest, VISITS_AT_ONCE).await?;
        for part in &parts {
            let snapshot = Snapshot::at(&store, newest.version(), at_once).await?;
            // One part alone is all there is.
            if parts.len() > 1 {
                keep_part(&snapshot, part).await?;
            }
            let (table, left_out) = roll_up_county_weeks(&snapshot, &catalogue, &setting).await?;
            without_threshold += left_out;
            let rows = CountyWeek::from_batches(&[table])?;
            let own = rows
                .into_iter()
                .filter(|row| part.seasons.contains(&row.season));
            county_weeks.extend(own);
        }
        note_without_threshold(without_threshold);
        let weeks = county_weeks.iter();
        let weeks = weeks.map(|row| (&*row.protocol, &*row.iso_week));
        Ok(SeasonFigures {
            heat: WeekHeat::of(&setting.weather, &setting.counties, &catalogue, weeks),
            region,
            store_version: newest.version(),
            county_weeks,
        })
    }
}
