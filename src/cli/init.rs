//! `bractline init`: a new workspace.

use std::path::PathBuf;

use crate::cli::terminal::format::Outcome;
use crate::shared::report;
use crate::workspace::init::{Counties, init};
use scouting::failure::Failure;

/// Create a new workspace
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline init dakota --region us:46,38\n  bractline init north --region counties.geojson --id-property GEOID --name-property NAME"
)]
pub(crate) struct Init {
    /// Folder to create
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

    /// Where to store the tables, if not in the workspace: s3://BUCKET/PREFIX
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
        let counties = Counties {
            region: self.region,
            id_property: self.id_property,
            name_property: self.name_property,
            district_property: self.district_property,
        };
        report::say(&init(&self.folder, &counties, &self.store).await?)?;
        Ok(Outcome::Done)
    }
}
