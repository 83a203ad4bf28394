//! `bractline export`: a package for researchers, from one store version.
//!
//! A package of the level public publishes: rows of its weeks that are not public yet become public with it. They are
//! entered into the store before the first file of the package is written, so that what is written is public.

use std::path::PathBuf;

use clap::ValueEnum;
use clap::builder::PossibleValue;
use jiff::Timestamp;

use crate::cli::terminal::format::{Format, Outcome};
use crate::export::make::WantedPackage;
use crate::export::package::facts::Level;
use crate::workspace::Workspace;
use scouting::failure::Failure;

/// Export a data package for research
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline export --out package\n  bractline export --season 2026 --out package\n  bractline export --level grid --private --season 2026 --out package\n  bractline export --level full --private --out package\n  bractline export --as-issued 3 --out package\n\nLevels: public has the public rows of counties and of the region, and nothing of a field. grid adds de-identified visits and field-weeks, each among enough others of its grid cell or county. full has everything, raw counts too. grid and full are private: they have rows of single fields, need --private, and carry TERMS.md, the terms to be agreed with the recipient before it is handed over.\n\nA package of the level public PUBLISHES: rows of its weeks that are not public yet become public with it, for good, and it says how many. With --as-issued it has the rows that were public once that alert was issued, with --store-version those that came from that version of the store or an earlier one; neither publishes anything, and nor do grid and full. A row that was withdrawn is in no package.\n\nEvery table is there as CSV and Parquet (GeoParquet 1.1), with datapackage.json, a Darwin Core archive, a data dictionary, CITATION.cff, README.md and SHA256SUMS. The same store version, public rows and options give the same bytes. Packages of public and grid are judged before the first file is written."
)]
pub(crate) struct Export {
    /// Output folder; it must be new or empty
    #[arg(long, value_name = "DIR")]
    out: PathBuf,

    /// Disclosure level
    #[arg(long, value_enum, default_value = "public")]
    level: Level,

    /// Mark the package as private; required by --level grid and full
    #[arg(long)]
    private: bool,

    /// From the data snapshot behind this alert, with the rows that were public once it was issued
    #[arg(long, value_name = "NUMBER", conflicts_with = "store_version")]
    as_issued: Option<i64>,

    /// From this version of the store, with the settings of today; publishes nothing
    #[arg(long, value_name = "VERSION")]
    store_version: Option<i64>,

    /// One season: an ISO week-year, as 2026
    #[arg(long, value_name = "YEAR")]
    season: Option<i32>,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl ValueEnum for Level {
    fn value_variants<'a>() -> &'a [Level] {
        &[Level::Public, Level::Grid, Level::Full]
    }

    fn to_possible_value(&self) -> Option<PossibleValue> {
        let help = match self {
            Level::Public => "Nothing; publishes the rows of its weeks",
            Level::Grid => "What was found, without what leads back to a field; private",
            Level::Full => "Everything; private",
        };
        Some(PossibleValue::new(self.word()).help(help))
    }
}

impl Export {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let wanted = WantedPackage {
            out: self.out,
            level: self.level,
            private: self.private,
            as_issued: self.as_issued,
            store_version: self.store_version,
            season: self.season,
        };
        let written = wanted.make(workspace, Timestamp::now()).await?;
        self.format.say(&written, || written.text())
    }
}
