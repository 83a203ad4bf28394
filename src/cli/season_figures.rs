//! The county-weeks of all seasons of a store.

use super::rollup::note_without_threshold;
use super::setting::roll_up_setting;
use super::{open_catalogue, open_region, open_snapshot};
use crate::failure::Failure;
use crate::region::Region;
use crate::rollup::county_week::CountyWeek;
use crate::rollup::wanted::roll_up_county_weeks;
use crate::rollup::week_heat::WeekHeat;
use crate::workspace::Workspace;

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
        let snapshot = open_snapshot(workspace).await?;
        let region = open_region(workspace)?;
        let catalogue = open_catalogue(workspace)?;
        let setting = roll_up_setting(workspace, &region, workspace.weather().as_deref())?;
        let (table, left_out) = roll_up_county_weeks(&snapshot, &catalogue, &setting).await?;
        note_without_threshold(left_out);
        let county_weeks = CountyWeek::from_batches(&[table])?;
        let weeks = county_weeks.iter();
        let weeks = weeks.map(|row| (&*row.protocol, &*row.iso_week));
        Ok(SeasonFigures {
            heat: WeekHeat::of(&setting.weather, &setting.counties, &catalogue, weeks),
            region,
            store_version: snapshot.version(),
            county_weeks,
        })
    }
}
