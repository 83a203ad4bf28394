//! What a workspace opens: its store, its region and its catalog.

use std::collections::BTreeMap;

use super::bucket::store_of;
use super::{RegionSettings, SETTINGS_FILE, Workspace};
use disclosure::editions::Published;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Catalogue;
use scouting::region::Region;
use scouting::region::districts::districts_in;
use scouting::visit::week::Weeks;
use store::alerts::table::published_rows;
use store::delta::snapshot::{Snapshot, parts_that_pay};
use store::delta::tables::Store;

/// How many things are done side by side.
pub(crate) fn workers() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

pub(crate) async fn open_store(workspace: &Workspace) -> Result<Store, Failure> {
    store_of(workspace)?.opened().await
}

/// The newest version of the store, for queries over all of its visits.
pub(crate) async fn open_snapshot(workspace: &Workspace) -> Result<Snapshot, Failure> {
    open_snapshot_of(workspace, None).await
}

/// A version of the store, or the newest if none is named.
pub(crate) async fn open_snapshot_of(
    workspace: &Workspace,
    version: Option<i64>,
) -> Result<Snapshot, Failure> {
    let store = open_store(workspace).await?;
    let parts = parts_that_pay(&store, workers()).await?;
    Snapshot::of(&store, version, parts).await
}

/// The weeks of the office.
///
/// # Errors
/// A [`Failure`] if the public rows cannot be read.
pub(crate) async fn open_weeks(workspace: &Workspace) -> Result<Weeks, Failure> {
    let published = published_rows(&open_store(workspace).await?).await?;
    Ok(weeks_of(workspace, &published))
}

/// The weeks of the office: those of its settings, and in a season that has public rows those that the rows were made
/// with, since a field and week must not be counted in two rows.
pub(crate) fn weeks_of(workspace: &Workspace, published: &[Published]) -> Weeks {
    let rows = published.iter().map(|one| &one.entry.row);
    Weeks::new(
        workspace.settings().week.starts,
        rows.map(|row| (row.season, row.week_starts)),
    )
}

pub(crate) fn open_region(workspace: &Workspace) -> Result<Region, Failure> {
    let region = &workspace.settings().region;
    let Some(file) = workspace.boundaries() else {
        return with_districts(Region::built_in(&region.boundaries)?, region, None);
    };
    let text = Region::text_of_file(&file)?;
    region_of(&text, &file.display().to_string(), region)
}

/// The region of a boundary file's text, with its districts.
pub(crate) fn region_of(
    text: &str,
    place: &str,
    settings: &RegionSettings,
) -> Result<Region, Failure> {
    let region = Region::from_text(text, place, &settings.id_property, &settings.name_property)?;
    with_districts(region, settings, Some((text, place)))
}

/// A region with its districts: those of the boundary file, and over them those of the settings.
pub(crate) fn with_districts(
    region: Region,
    settings: &RegionSettings,
    file: Option<(&str, &str)>,
) -> Result<Region, Failure> {
    let property = &settings.district_property;
    let mut districts = match file.filter(|_| !property.is_empty()) {
        Some((text, place)) => districts_in(text, place, &settings.id_property, property)?,
        None => BTreeMap::new(),
    };
    for (district, counties) in &settings.districts {
        for county in counties {
            if region.county(county).is_none() {
                return Err(Failure::new(
                    Kind::Settings,
                    format!("[region.districts] {district:?} has the county {county:?}, which is not in the region"),
                )
                .at(SETTINGS_FILE)
                .mend("write the county ids of the boundaries"));
            }
            districts.insert(county.clone(), district.clone());
        }
    }
    Ok(region.with_districts(districts))
}

pub(crate) fn open_catalogue(workspace: &Workspace) -> Result<Catalogue, Failure> {
    Catalogue::read(
        Some(&workspace.protocols()),
        store::stages::expression::plan,
    )
}
