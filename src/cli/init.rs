//! `bractline init`: a new workspace.

use std::path::{Path, PathBuf};

use super::bucket::store_of;
use super::{Outcome, open_region, region_of};
use crate::failure::Failure;
use crate::plain_file::{BOUNDARIES_BYTES_MAX, read_plain_text};
use crate::region::Region;
use crate::shared::report;
use crate::shared::report::LISTED_MAX;
use crate::store::schema::Kept;
use crate::workspace::{RegionSettings, SETTINGS_FILE, Workspace, own_region};

/// Make a new workspace
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline init dakota --region us:46,38\n  bractline init north --region counties.geojson --id-property GEOID --name-property NAME"
)]
pub struct Init {
    /// Folder to make
    #[arg(value_name = "DIR")]
    folder: PathBuf,

    /// us: and two-digit state codes for built-in US counties, or a GeoJSON or TopoJSON file
    #[arg(long, value_name = "REGION")]
    region: String,

    /// Property that holds a county's id, in a file of your own
    #[arg(long, default_value = "GEOID", value_name = "NAME")]
    id_property: String,

    /// Property that holds a county's name, in a file of your own
    #[arg(long, default_value = "NAME", value_name = "NAME")]
    name_property: String,

    /// Property that holds a county's district, in a file of your own that has one
    #[arg(
        long,
        default_value = "",
        hide_default_value = true,
        value_name = "NAME"
    )]
    district_property: String,

    /// Where the tables shall lie, if not in the workspace: s3://BUCKET/PREFIX
    #[arg(
        long,
        default_value = "",
        hide_default_value = true,
        value_name = "PLACE"
    )]
    store: String,
}

impl Init {
    pub(super) async fn run(self) -> Result<Outcome, Failure> {
        let (settings, boundaries) = if self.region.starts_with("us:") {
            let settings = RegionSettings {
                boundaries: self.region.clone(),
                ..own_region(&self.id_property, &self.name_property)
            };
            // Refused here rather than at the first load.
            Region::built_in(&self.region)?;
            (settings, None)
        } else {
            let path = Path::new(&self.region);
            let text = read_plain_text(path, BOUNDARIES_BYTES_MAX)?;
            let settings = RegionSettings {
                district_property: self.district_property.clone(),
                ..own_region(&self.id_property, &self.name_property)
            };
            region_of(&text, &self.region, &settings)?;
            (settings, Some(text))
        };
        let boundaries = boundaries.as_deref();
        let (workspace, was_there) =
            make_workspace(&self.folder, &settings, boundaries, &self.store).await?;
        report::say(&made(&workspace, was_there)?)?;
        Ok(Outcome::Done)
    }
}

/// Makes a workspace with its empty store. Where another workspace made the store, it is used, which is told.
pub(super) async fn make_workspace(
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

fn made(workspace: &Workspace, store_was_there: bool) -> Result<String, Failure> {
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
            "\nnote: {} ({}) has no outline in these boundaries; points in it fall to its neighbours",
            county.name, county.id
        );
    }
    let crossed: Vec<_> = region.crossed().collect();
    for (county, (lon, lat)) in crossed.iter().take(LISTED_MAX) {
        text += &format!(
            "\nnote: the outline of {} ({}) meets itself near {lon:.5}, {lat:.5}; it is repaired where it is drawn",
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
