//! The public rows of all seasons of a store, and the rows that would be public if every week were published now.

use crate::figures::rolled_up::{day_of, note_without_threshold};
use crate::figures::setting::roll_up_setting;
use crate::figures::week_heat::WeekHeat;
use crate::shared::shown_numbers::Units;
use crate::workspace::Workspace;
use crate::workspace::open::{open_catalogue, open_region, open_snapshot_of, open_store};
use disclosure::public_row::PublicRow;
use scouting::failure::Failure;
use scouting::protocol::catalogue::{Catalogue, Protocol};
use scouting::region::Region;
use store::alerts::table::{Until, published_until};
use store::public::public_rows::{Publishing, public_rows};
use store::stages::inputs::RegionCounty;
use store::stages::rollup::Period;
use store::stages::run::roll_up;

/// What the comparison of seasons is made from.
pub(crate) struct SeasonFigures {
    pub(crate) region: Region,
    pub(crate) catalogue: Catalogue,
    pub(crate) store_version: i64,
    /// Every county of the region.
    pub(crate) counties: Vec<RegionCounty>,
    /// The rows that are public.
    pub(crate) public: Vec<PublicRow>,
    /// The rows that would be public if every week were published now. Private as far as they are not public yet.
    pub(crate) published_now: Vec<PublicRow>,
    /// Degree-days accumulated by each week; none where the workspace has no temperatures.
    pub(crate) heat: WeekHeat,
    /// Units in which pages show amounts.
    pub(crate) units: Units,
}

impl SeasonFigures {
    /// The protocols that these rows are of, or every one where there is no row.
    pub(crate) fn protocols_of(&self, rows: &[PublicRow]) -> Vec<&Protocol> {
        let all = || self.catalogue.protocols();
        let used = |protocol: &&Protocol| rows.iter().any(|row| row.protocol == protocol.id);
        match rows.is_empty() {
            true => all().collect(),
            false => all().filter(used).collect(),
        }
    }

    /// Those of a version of the store, or of the newest if none is named.
    pub(crate) async fn of(
        workspace: &Workspace,
        version: Option<i64>,
    ) -> Result<SeasonFigures, Failure> {
        let until = Until::version(version);
        let published = published_until(&open_store(workspace).await?, until).await?;
        let snapshot = open_snapshot_of(workspace, version).await?;
        let region = open_region(workspace)?;
        let catalogue = open_catalogue(workspace)?;
        let setting = roll_up_setting(
            workspace,
            &region,
            workspace.weather().as_deref(),
            &published,
        )?;
        let rollup = roll_up(&snapshot, None, &catalogue, &setting).await?;
        note_without_threshold(rollup.visits_without_threshold);
        let visits_until = day_of(snapshot.received_until().await?);
        let shown = |publishing: &Publishing| {
            let field_week = &rollup.field_week().batch;
            let rows = public_rows(
                field_week,
                &catalogue,
                &setting,
                &published,
                publishing,
                visits_until,
            );
            rows.map(|rows| rows.shown)
        };
        let public = shown(&Publishing::Nothing)?;
        let published_now = shown(&Publishing::All(Period::All))?;
        let weeks = public.iter().chain(&published_now);
        let weeks = weeks.map(|row| (&*row.protocol, &*row.iso_week));
        let heat = WeekHeat::of(&setting, &catalogue, weeks);
        Ok(SeasonFigures {
            heat,
            units: workspace.settings().units.system,
            region,
            catalogue,
            store_version: snapshot.version(),
            counties: setting.counties,
            public,
            published_now,
        })
    }

    /// County-weeks that are public.
    pub(crate) fn public_county_weeks(&self) -> usize {
        county_weeks(&self.public).count()
    }

    /// County-weeks that would become public, or change, if every week were published now.
    pub(crate) fn private_county_weeks(&self) -> usize {
        let is_public = |row: &&PublicRow| {
            let key = |row: &PublicRow| {
                (
                    row.place.clone(),
                    row.iso_week.clone(),
                    row.protocol.clone(),
                )
            };
            // Both are in the order of this key.
            let found = self.public.binary_search_by_key(&key(row), key);
            found.is_ok_and(|place| self.public[place] == **row)
        };
        county_weeks(&self.published_now)
            .filter(|row| !is_public(row))
            .count()
    }
}

fn county_weeks(rows: &[PublicRow]) -> impl Iterator<Item = &PublicRow> {
    rows.iter().filter(|row| row.place.county().is_some())
}
