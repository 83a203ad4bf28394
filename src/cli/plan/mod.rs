//! `bractline plan`: how much more to sample, and how far into a field to look.

mod edge;
mod options;

use std::path::PathBuf;

use crate::cli::format::{Format, Outcome};
use crate::plan::field::FieldOptions;
use crate::workspace::Workspace;
use edge::PlanEdge;
use options::{ScatterArguments, ThresholdArguments};
use scouting::failure::{Failure, Kind};

/// Plan the sampling of a field
#[derive(Debug, clap::Subcommand)]
pub enum Plan {
    /// How many sites, and when to stop
    Field(PlanField),
    /// How far in from its edge a field is at threshold; private
    Edge(PlanEdge),
}

impl Plan {
    pub(in crate::cli) async fn run(
        self,
        workspace: Option<&Workspace>,
    ) -> Result<Outcome, Failure> {
        match self {
            Plan::Field(field) => field.run(workspace).await,
            Plan::Edge(edge) => match workspace {
                Some(workspace) => edge.run(workspace).await,
                None => Err(Failure::new(Kind::Files, "there is no workspace here")
                    .mend("name one with --workspace DIR")),
            },
        }
    }
}

/// How many sites give a wanted precision, and after which sums a scout may stop
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline plan field --protocol bsm-eggs --threshold 3.2 --k 0.9\n  bractline plan field --protocol bsm-eggs --treatment-cost 8/acre --market-value 0.16/lb --plants 20000/acre --season 2026 --out plan\n\nThe scatter of the sites is yours (--k) or comes from the workspace's visits of a season (--season); plants that are infested or not need neither. With --out it writes stop_table.csv, operating_characteristic.csv and stop_card.html, a card to print."
)]
pub struct PlanField {
    /// Id of the protocol, as `bractline protocols list` shows it
    #[arg(long, value_name = "ID")]
    protocol: String,

    #[command(flatten)]
    threshold: ThresholdArguments,

    #[command(flatten)]
    scatter: ScatterArguments,

    /// Share of the threshold at which a field is surely not to be treated
    #[arg(
        long,
        value_name = "SHARE",
        default_value_t = 0.5,
        allow_negative_numbers = true
    )]
    low: f64,

    /// Wanted standard error of the mean, as a share of the mean
    #[arg(
        long,
        value_name = "SHARE",
        default_value_t = 0.25,
        allow_negative_numbers = true
    )]
    precision: f64,

    /// Risk of each of the two wrong answers
    #[arg(
        long,
        value_name = "SHARE",
        default_value_t = 0.1,
        allow_negative_numbers = true
    )]
    risk: f64,

    /// Sites that are always done [default: the protocol's least number]
    #[arg(long, value_name = "NUMBER")]
    sites_min: Option<u32>,

    /// Sites after which a sample ends in any case [default: as many as keep both risks, at least four times the
    /// least number]
    #[arg(long, value_name = "NUMBER")]
    sites_max: Option<u32>,

    /// Folder to write to
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,

    /// How to report
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl PlanField {
    async fn run(self, workspace: Option<&Workspace>) -> Result<Outcome, Failure> {
        let options = FieldOptions {
            protocol: self.protocol,
            threshold: self.threshold.given(),
            scatter: self.scatter.given(),
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
