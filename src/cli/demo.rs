//! `bractline demo`: an invented region, from its submissions to its alert.

use std::path::PathBuf;

use jiff::Timestamp;

use crate::cli::terminal::format::Outcome;
use crate::demo::play::play;
use crate::shared::report;
use scouting::failure::Failure;

/// Create an invented region and run the whole pipeline on it
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  bractline demo\n\nEverything in it is invented and says so: region, farms, scouts and counts."
)]
pub(crate) struct Demo {
    /// Folder to create
    #[arg(value_name = "DIR", default_value = "sample_data/demo")]
    folder: PathBuf,
}

impl Demo {
    pub(super) async fn run(self) -> Result<Outcome, Failure> {
        report::say(&play(&self.folder, &program(), Timestamp::now).await?)?;
        Ok(Outcome::Done)
    }
}

/// The program as it was started, so that the lines can be typed as they are.
fn program() -> String {
    std::env::args()
        .next()
        .unwrap_or_else(|| "bractline".to_owned())
}
