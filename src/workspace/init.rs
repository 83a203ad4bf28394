//! A new workspace with its empty store.

use std::path::Path;

use super::bucket::store_of;
use super::open::{open_region, region_of};
use crate::shared::report;
use crate::shared::report::LISTED_MAX;
use crate::workspace::{RegionSettings, SETTINGS_FILE, Workspace, own_region};
use scouting::failure::Failure;
use scouting::plain_file::{BOUNDARIES_BYTES_MAX, read_plain_text};
use scouting::region::Region;
use store::rows::schema::Kept;

/// Which counties a new workspace has.
pub(crate) struct Counties {
    /// `us:` and state codes, or the path of a boundary file.
    pub(crate) region: String,
    /// Property of a boundary file that holds a county's id.
    pub(crate) id_property: String,
    /// Property that holds its name.
    pub(crate) name_property: String,
    /// Property that holds its district; empty if there is none.
    pub(crate) district_property: String,
}

/// Makes a new workspace; what to say of it.
///
/// # Errors
/// A [`Failure`] if the folder is not empty, or the boundaries cannot be read.
pub(crate) async fn init(
    folder: &Path,
    counties: &Counties,
    store_place: &str,
) -> Result<String, Failure> {
    let (settings, boundaries) = if counties.region.starts_with("us:") {
        let settings = RegionSettings {
            boundaries: counties.region.clone(),
            ..own_region(&counties.id_property, &counties.name_property)
        };
        // Refused here rather than at the first load.
        Region::built_in(&counties.region)?;
        (settings, None)
    } else {
        let path = Path::new(&counties.region);
        let text = read_plain_text(path, BOUNDARIES_BYTES_MAX)?;
        let settings = RegionSettings {
            district_property: counties.district_property.clone(),
            ..own_region(&counties.id_property, &counties.name_property)
        };
        region_of(&text, &counties.region, &settings)?;
        (settings, Some(text))
    };
    let (workspace, was_there) =
        make_workspace(folder, &settings, boundaries.as_deref(), store_place).await?;
    made(&workspace, was_there)
}

/// Makes a workspace with its empty store. Where another workspace made the store, it is used, which is reported.
pub(crate) async fn make_workspace(
    folder: &Path,
    settings: &RegionSettings,
    boundaries: Option<&str>,
    store_place: &str,
) -> Result<(Workspace, bool), Failure> {
    let workspace = Workspace::create(folder, settings, boundaries, store_place)?;
    let store = store_of(&workspace)?;
    let was_there = store.has(Kept::Receipts).await;
    store.create().await?;
    Ok((workspace, was_there))
}

pub(crate) fn made(workspace: &Workspace, store_was_there: bool) -> Result<String, Failure> {
    let region = open_region(workspace)?;
    let folder = workspace.folder().display();
    let mut text = format!(
        "made {folder}: {}\nboundaries: {}; vintage: {}\nsettings: {folder}/{SETTINGS_FILE}",
        report::counted(region.counties().len() as u64, "county", "counties"),
        region.source(),
        region.vintage(),
    );
    if store_was_there {
        let place = &workspace.settings().store.place;
        text += &format!("\nnote: the store {place} was there already, and is used as it is");
    }
    for county in region.without_shape() {
        text += &format!(
            "\nnote: {} ({}) has no outline in these boundaries; points in it are assigned to its neighbors",
            county.name, county.id
        );
    }
    let crossed: Vec<_> = region.crossed().collect();
    for (county, (lon, lat)) in crossed.iter().take(LISTED_MAX) {
        text += &format!(
            "\nnote: the outline of {} ({}) touches itself near {lon:.5}, {lat:.5}; it is repaired for drawing",
            county.name, county.id
        );
    }
    if let Some(more) = crossed
        .len()
        .checked_sub(LISTED_MAX)
        .filter(|more| *more > 0)
    {
        text += &format!("\nnote: and {more} more outlines do");
    }
    text += &format!("\nnext: bractline --workspace {folder} load FILE…");
    Ok(text)
}
