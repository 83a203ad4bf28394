//! `bractline plan edge`: how far into a field, from its edge, pressure is at threshold. For the field's owner.

use std::path::PathBuf;

use crate::cli::terminal::format::{Format, Outcome};
use crate::plan::edge::EdgeOptions;
use crate::workspace::Workspace;
use scouting::failure::Failure;
use scouting::visit::week::NamedWeek;

/// Estimate the economic distance, how far in from the edge counts stay at threshold; private, for the field's owner
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  bractline plan edge --field F-000123 --out for-the-owner\n\nUses the field's newest reference visit, or that of --week. With --out it writes economic_distance.csv, edge.html, a page to print, and, where the record has the field's outline, strips.geojson: the strips along the sampled sides and their area. The page and the text are in the units of the workspace, the other files in meters and hectares. Nothing of it is published."
)]
pub(crate) struct PlanEdge {
    /// Field ID
    #[arg(long, value_name = "ID")]
    field: String,

    /// Id of the protocol
    #[arg(long, value_name = "ID", default_value = "bsm-eggs")]
    protocol: String,

    /// The week, as 2026-W30 or a day of it
    #[arg(long, value_name = "WEEK")]
    week: Option<NamedWeek>,

    /// Output folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl PlanEdge {
    pub(in crate::cli) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let options = EdgeOptions {
            field: self.field,
            protocol: self.protocol,
            week: self.week,
            out: self.out,
        };
        let reached = options.reach(workspace).await?;
        self.format.say(&reached, || reached.text())
    }
}
