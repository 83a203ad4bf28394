//! `bractline plan`: how much more to sample, and how far into a field to look.

use std::path::PathBuf;

use serde::Serialize;

use super::plan_edge::PlanEdge;
use super::plan_scatter::GivenScatter;
use super::plan_threshold::{GivenThreshold, wrong};
use super::{Format, Outcome, open_catalogue};
use crate::failure::{Failure, Kind};
use crate::plan::stop_card::{
    CardFacts, how_far_to_trust, operating_characteristic_csv, stop_card, stop_table_csv,
};
use crate::protocol::catalogue::{Catalogue, Decision, Protocol};
use crate::shared::cautions::IN_ONE_SENTENCE;
use crate::shared::files::write_folder;
use crate::shared::report;
use crate::statistics::field_plan::{FieldPlan, PlanQuestion, SiteScatter, plan_within_risks};
use crate::statistics::stop_lines::Risks;
use crate::workspace::Workspace;

const PROGRAM: &str = concat!("bractline ", env!("CARGO_PKG_VERSION"));
/// More sites than this no scout does in a field. Our choice; it also keeps the simulation short.
const SITES_MAX: u32 = 200;
/// No finer precision is planned for. Our choice.
const PRECISION_MIN: f64 = 0.01;

/// Plan the sampling of a field
#[derive(Debug, clap::Subcommand)]
pub enum Plan {
    /// How many sites, and when to stop
    Field(PlanField),
    /// How far in from its edge a field is at threshold; private
    Edge(PlanEdge),
}

impl Plan {
    pub(super) async fn run(self, workspace: Option<&Workspace>) -> Result<Outcome, Failure> {
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
    after_help = "Examples:\n  bractline plan field --protocol bsm-eggs --threshold 3.2 --k 0.9\n  bractline plan field --protocol bsm-eggs --treatment-cost 8/acre --market-value 0.16/lb --plants 20000/acre --season 2026 --out plan\n\nThe scatter of the sites is yours (--k) or comes from the workspace's visits of a season (--season); plants that are\ninfested or not need neither. With --out it writes stop_table.csv, operating_characteristic.csv and stop_card.html, a card to print."
)]
pub struct PlanField {
    /// Id of the protocol, as `bractline protocols list` shows it
    #[arg(long, value_name = "ID")]
    protocol: String,

    #[command(flatten)]
    threshold: GivenThreshold,

    #[command(flatten)]
    scatter: GivenScatter,

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

/// What is reported.
#[derive(Serialize)]
struct Planned<'a> {
    protocol: &'a str,
    threshold: f64,
    threshold_from: &'a str,
    low_mean: f64,
    scatter_from: &'a str,
    k_of_site_totals: Option<f64>,
    sites_for_precision: u64,
    precision: f64,
    files: Vec<PathBuf>,
}

impl PlanField {
    async fn run(self, workspace: Option<&Workspace>) -> Result<Outcome, Failure> {
        let catalogue = match workspace {
            Some(workspace) => open_catalogue(workspace)?,
            None => Catalogue::read(None, crate::rollup::expression::plan)?,
        };
        let protocol = catalogue.protocol(&self.protocol).ok_or_else(|| {
            Failure::new(Kind::Protocol, format!("no protocol {:?}", self.protocol))
                .at("--protocol")
                .mend(format!("the catalogue has {}", catalogue.ids()))
        })?;
        if protocol.decision == Decision::Region {
            return Err(tells_nothing_of_a_field(protocol));
        }
        self.check_shares()?;
        let (threshold, threshold_from) = self.threshold.of(protocol, workspace)?;
        let (scatter, scatter_from) = self.scatter.of(protocol, workspace).await?;
        let asked = self.question(protocol, threshold, scatter)?;
        // Where the scout names no limit, the risks set it.
        let sites_most = self.sites_max.unwrap_or(SITES_MAX);
        let planned = plan_within_risks(&asked, sites_most);
        let (question, plan) = planned.ok_or_else(|| no_plan(&asked))?;
        let facts = CardFacts {
            protocol,
            question: &question,
            threshold_from,
            scatter_from,
            program: PROGRAM,
        };
        let files = self.write(&plan, &facts)?;
        self.say(&plan, &facts, files)?;
        Ok(Outcome::Done)
    }

    fn check_shares(&self) -> Result<(), Failure> {
        let within = |value: f64, above: f64, below: f64| value > above && value < below;
        if !within(self.low, 0.0, 1.0) {
            return Err(wrong("--low", &self.low, "a share above 0 and below 1"));
        }
        if !(self.precision >= PRECISION_MIN && self.precision < 1.0) {
            let right = format!("a share from {PRECISION_MIN} to below 1");
            return Err(wrong("--precision", &self.precision, &right));
        }
        match within(self.risk, 0.0, 0.5) {
            true => Ok(()),
            false => Err(wrong("--risk", &self.risk, "a share above 0 and below 0.5")),
        }
    }

    fn question(
        &self,
        protocol: &Protocol,
        threshold: f64,
        scatter: SiteScatter,
    ) -> Result<PlanQuestion, Failure> {
        let sites_min = self.sites_min.unwrap_or(protocol.sample.sites_min as u32);
        if sites_min == 0 || sites_min > SITES_MAX {
            let right = format!("a whole number from 1 to {SITES_MAX}");
            return Err(wrong("--sites-min", &sites_min, &right));
        }
        let usual = sites_min.saturating_mul(4).min(SITES_MAX);
        let sites_max = self.sites_max.unwrap_or(usual);
        if sites_max < sites_min || sites_max > SITES_MAX {
            let right = format!("a whole number from {sites_min}, the least, to {SITES_MAX}");
            return Err(wrong("--sites-max", &sites_max, &right));
        }
        if scatter == SiteScatter::Presence && threshold >= 1.0 {
            let right = format!("a share of plants below 1, as {} counts", protocol.id);
            return Err(wrong("--threshold", &threshold, &right));
        }
        Ok(PlanQuestion {
            threshold,
            low_mean: self.low * threshold,
            units_per_site: protocol.sample.units_per_site as u32,
            scatter,
            precision: self.precision,
            risks: Risks {
                false_high: self.risk,
                false_low: self.risk,
            },
            sites_min,
            sites_max,
        })
    }

    fn write(&self, plan: &FieldPlan, facts: &CardFacts) -> Result<Vec<PathBuf>, Failure> {
        let Some(folder) = &self.out else {
            return Ok(Vec::new());
        };
        let files = [
            ("stop_table.csv", stop_table_csv(plan, facts.question)?),
            (
                "operating_characteristic.csv",
                operating_characteristic_csv(plan, facts.question)?,
            ),
            ("stop_card.html", stop_card(plan, facts)?.into_bytes()),
        ];
        let written: Vec<(&str, &[u8])> = files
            .iter()
            .map(|(name, bytes)| (*name, &**bytes))
            .collect();
        write_folder(folder, &written)?;
        Ok(files.iter().map(|(name, _)| folder.join(name)).collect())
    }

    fn say(&self, plan: &FieldPlan, facts: &CardFacts, files: Vec<PathBuf>) -> Result<(), Failure> {
        let question = facts.question;
        let planned = Planned {
            protocol: &facts.protocol.id,
            threshold: question.threshold,
            threshold_from: &facts.threshold_from,
            low_mean: question.low_mean,
            scatter_from: &facts.scatter_from,
            k_of_site_totals: plan.k_of_site_totals,
            sites_for_precision: plan.sites_for_precision,
            precision: question.precision,
            files,
        };
        match self.format {
            Format::Json => report::say_json(&planned),
            Format::Text => report::say(&text(&planned, plan, question)),
        }
    }
}

fn text(planned: &Planned, plan: &FieldPlan, question: &PlanQuestion) -> String {
    let mut lines = vec![
        format!(
            "threshold {:.3} ({}), {} units a site",
            planned.threshold, planned.threshold_from, question.units_per_site
        ),
        planned.scatter_from.to_owned(),
        format!(
            "{} sites for a standard error of {:.0} % at the threshold",
            planned.sites_for_precision,
            100.0 * planned.precision
        ),
        String::new(),
        "sites  below: sum at or under  at or above: sum from".to_owned(),
    ];
    lines.extend(plan.stops.iter().map(|stop| {
        let low = stop
            .low_total
            .map_or("-".to_owned(), |total| total.to_string());
        format!("{:>5}  {low:>22}  {:>21}", stop.sites, stop.high_total)
    }));
    lines.push(String::new());
    lines.push("true mean  said below  said at or above  sites on average".to_owned());
    lines.extend(plan.operating_points.iter().map(|point| {
        format!(
            "{:>9.3}  {:>8.1} %  {:>14.1} %  {:>16.1}",
            point.true_mean,
            100.0 * point.probability_low,
            100.0 * point.probability_high,
            point.mean_units
        )
    }));
    lines.push(String::new());
    lines.extend(how_far_to_trust(plan, question));
    lines.push(IN_ONE_SENTENCE.to_owned());
    lines.extend(planned.files.iter().map(|file| file.display().to_string()));
    lines.join("\n")
}

fn tells_nothing_of_a_field(protocol: &Protocol) -> Failure {
    let what = format!(
        "{} tells the risk of a region and nothing of a field: there is no field to plan for",
        protocol.id
    );
    Failure::new(Kind::Protocol, what)
        .at("--protocol")
        .mend("name a protocol that decides about fields; see bractline protocols list")
}

/// What single options allow and together do not: a scatter that gives no variance, or lines that do not part.
fn no_plan(question: &PlanQuestion) -> Failure {
    Failure::new(Kind::Settings, "these numbers make no plan")
        .at(format!(
            "threshold {}, low mean {}, precision {}, risks {}, sites {} to {}",
            question.threshold,
            question.low_mean,
            question.precision,
            question.risks.false_high,
            question.sites_min,
            question.sites_max
        ))
        .mend("move --low away from 1, or give another --threshold or --k")
}
