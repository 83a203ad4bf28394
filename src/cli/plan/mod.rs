//! `bractline plan`: how much more to sample, and how far into a field to look.

mod edge;
mod options;
mod threshold;

use std::path::PathBuf;

use crate::cli::terminal::format::{Format, Outcome};
use crate::plan::field::FieldOptions;
use crate::workspace::Workspace;
use edge::PlanEdge;
use options::{ScatterArguments, ThresholdArguments};
use scouting::failure::{Failure, Kind};
use threshold::PlanThreshold;

/// Plan the sampling of a field
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Plan {
    /// Number of sites, and when to stop sampling
    Field(PlanField),
    /// Economic distance: how far in from the edge counts stay at threshold; private
    Edge(PlanEdge),
    /// The threshold by treatment cost and market price, as a table
    Threshold(PlanThreshold),
}

impl Plan {
    pub(in crate::cli) async fn run(
        self,
        workspace: Option<&Workspace>,
    ) -> Result<Outcome, Failure> {
        match self {
            Plan::Field(field) => field.run(workspace).await,
            Plan::Threshold(table) => table.run(workspace),
            Plan::Edge(edge) => match workspace {
                Some(workspace) => edge.run(workspace).await,
                None => Err(Failure::new(Kind::Files, "there is no workspace here")
                    .mend("name one with --workspace DIR")),
            },
        }
    }
}

/// Compute the number of sites for a given precision, and a sequential sampling table
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline plan field --protocol bsm-eggs --threshold 3.2 --k 0.9\n  bractline plan field --protocol bsm-eggs --treatment-cost 8/acre --market-value 16/cwt --plants 20000/acre --season 2026 --out plan\n\nThe dispersion among sites is yours (--k) or comes from the workspace's visits of a season (--season); presence-absence counts need neither.\n\nA sample ends with \"below threshold\" or with \"threshold not ruled out\". The stop lines are those of the least expected cost: missing a field above threshold by some share costs --miss-cost times a needless \"not ruled out\" of a field below it by the same share, one more site costs 0.005, and every doubling of the mean from a quarter to four times the threshold is as likely beforehand. With --low or --risk the lines are Wald's between the lower mean and the threshold.\n\nWith --out it writes stop_table.csv, operating_characteristic.csv and stop_card.html, a card to print."
)]
pub(crate) struct PlanField {
    /// Id of the protocol, as `bractline protocols list` shows it
    #[arg(long, value_name = "ID")]
    protocol: String,

    #[command(flatten)]
    threshold: ThresholdArguments,

    #[command(flatten)]
    scatter: ScatterArguments,

    /// Weight of missing a field above threshold, against a needless "not ruled out" as far below it
    #[arg(long, value_name = "NUMBER", default_value_t = 10.0, conflicts_with_all = ["low", "risk"], allow_negative_numbers = true)]
    miss_cost: f64,

    /// Lower decision mean, as a fraction of the threshold (H0), of Wald's lines [default with --risk: 0.5]
    #[arg(long, value_name = "SHARE", allow_negative_numbers = true)]
    low: Option<f64>,

    /// Target standard error of the mean, as a fraction of the mean
    #[arg(
        long,
        value_name = "SHARE",
        default_value_t = 0.25,
        allow_negative_numbers = true
    )]
    precision: f64,

    /// Error rates alpha = beta, of Wald's lines [default with --low: 0.1]
    #[arg(long, value_name = "SHARE", allow_negative_numbers = true)]
    risk: Option<f64>,

    /// Minimum number of sites [default: the protocol's]
    #[arg(long, value_name = "NUMBER")]
    sites_min: Option<u32>,

    /// Maximum number of sites [default: five times the minimum, from 10 to 20; with --low or --risk as many as keep both error rates]
    #[arg(long, value_name = "NUMBER")]
    sites_max: Option<u32>,

    /// Output folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl PlanField {
    async fn run(self, workspace: Option<&Workspace>) -> Result<Outcome, Failure> {
        let options = FieldOptions {
            protocol: self.protocol,
            threshold: self.threshold.given(),
            scatter: self.scatter.given(),
            miss_cost: self.miss_cost,
            low: self.low,
            precision: self.precision,
            risk: self.risk,
            sites_min: self.sites_min,
            sites_max: self.sites_max,
            out: self.out,
        };
        let planned = options.plan(workspace).await?;
        self.format.say(&planned, || planned.text())
    }
}
