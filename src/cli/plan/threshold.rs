//! `bractline plan threshold`: the threshold by treatment cost and market price.

use std::path::PathBuf;

use super::options::EconomicsArguments;
use crate::cli::terminal::format::{Format, Outcome};
use crate::plan::threshold_plan::TableOptions;
use crate::workspace::Workspace;
use scouting::failure::Failure;

/// Tabulate the threshold of a field by treatment cost and market price
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline plan threshold --protocol bsm-eggs\n  bractline plan threshold --protocol rssw --treatment-cost 10/acre --market-value 22/cwt --plants 18000/acre --out thresholds\n\nThe table is around the amounts given; what is not given is that of [defaults] in bractline.toml, then that of the protocol's worked example. Each cell is computed as a visit's threshold is. With --out it writes threshold_table.csv and threshold_table.html, a page to print."
)]
pub(crate) struct PlanThreshold {
    /// Id of the protocol, as `bractline protocols list` shows it
    #[arg(long, value_name = "ID")]
    protocol: String,

    #[command(flatten)]
    field: EconomicsArguments,

    /// Output folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl PlanThreshold {
    pub(in crate::cli) fn run(self, workspace: Option<&Workspace>) -> Result<Outcome, Failure> {
        let options = TableOptions {
            protocol: self.protocol,
            field: self.field.given(None),
            out: self.out,
        };
        let tabulated = options.table(workspace)?;
        self.format.say(&tabulated, || tabulated.text())
    }
}
