//! How many sites a field needs for a wanted precision, and when a scout may stop.

use std::path::PathBuf;

use serde::Serialize;

use crate::plan::scatter::GivenScatter;
use crate::plan::stop_card::{
    CardFacts, how_lines_are_chosen, last_site, operating_characteristic_csv, stop_card,
    stop_table_csv, threshold_sum,
};
use crate::plan::threshold::{GivenThreshold, wrong};
use crate::shared::cautions::OF_ONE_FIELD;
use crate::shared::files::write_folder;
use crate::workspace::Workspace;
use crate::workspace::open::open_catalogue;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::{Catalogue, Decision, Protocol};
use stats::sampling::cost_lines::Costs;
use stats::sampling::field_plan::{FieldPlan, Lines, PlanQuestion, SiteScatter, plan_within_risks};
use stats::sampling::stop_lines::Risks;

const PROGRAM: &str = concat!("bractline ", env!("CARGO_PKG_VERSION"));
/// More sites than this no scout does in a field, and a card has no room for them. Our choice.
const SITES_MAX: u32 = 40;
/// Where the scout names no limit and the lines go by cost: five times the least, within these. Our choice.
const USUAL_SITES_MAX: [u32; 2] = [10, 20];
/// Cost of a site, where a needless "not ruled out" of a field without the pest costs 1. Our choice, no source.
const SITE_COST: f64 = 0.005;
/// Where one of the two is given, Wald's lines have this for the other.
const LOW: f64 = 0.5;
const RISK: f64 = 0.1;
/// A miss that weighs more than this leaves nothing to count for. Our choice.
const MISS_COST_MAX: f64 = 1_000.0;
/// No finer precision is planned for. Our choice.
const PRECISION_MIN: f64 = 0.01;

/// What a plan is made for; the scout's options.
pub(crate) struct FieldOptions {
    /// Id of the protocol.
    pub(crate) protocol: String,
    /// The threshold of the field.
    pub(crate) threshold: GivenThreshold,
    /// The dispersion among its sites.
    pub(crate) scatter: GivenScatter,
    /// Weight of missing a field at threshold against a needless "not ruled out".
    pub(crate) miss_cost: f64,
    /// Lower decision mean, as a fraction of the threshold (H0), for Wald's lines.
    pub(crate) low: Option<f64>,
    /// Target standard error of the mean, as a fraction of the mean.
    pub(crate) precision: f64,
    /// Error rates alpha = beta, for Wald's lines.
    pub(crate) risk: Option<f64>,
    /// Sites that are always done; the protocol's least number if `None`.
    pub(crate) sites_min: Option<u32>,
    /// Sites after which a sample ends in any case; the usual number if `None`.
    pub(crate) sites_max: Option<u32>,
    /// Output folder.
    pub(crate) out: Option<PathBuf>,
}

/// What is reported.
#[derive(Serialize)]
pub(crate) struct Planned {
    protocol: String,
    threshold: f64,
    threshold_from: String,
    low_mean: Option<f64>,
    miss_cost: Option<f64>,
    scatter_from: String,
    k_of_site_totals: Option<f64>,
    sites_for_precision: u64,
    precision: f64,
    files: Vec<PathBuf>,
    #[serde(skip)]
    lines: Vec<String>,
}

impl Planned {
    fn of(plan: &FieldPlan, facts: &CardFacts, files: Vec<PathBuf>) -> Planned {
        let question = facts.question;
        Planned {
            protocol: facts.protocol.id.clone(),
            threshold: question.threshold,
            threshold_from: facts.threshold_from.clone(),
            low_mean: match question.lines {
                Lines::Walds { low_mean, .. } => Some(low_mean),
                Lines::ByCost(_) => None,
            },
            miss_cost: match question.lines {
                Lines::ByCost(costs) => Some(costs.miss),
                Lines::Walds { .. } => None,
            },
            scatter_from: facts.scatter_from.clone(),
            k_of_site_totals: plan.k_of_site_totals,
            sites_for_precision: plan.sites_for_precision,
            precision: question.precision,
            files,
            lines: lines(plan, facts),
        }
    }

    /// For people.
    pub(crate) fn text(&self) -> String {
        let files = self.files.iter().map(|file| file.display().to_string());
        let lines: Vec<String> = self.lines.iter().cloned().chain(files).collect();
        lines.join("\n")
    }
}

impl FieldOptions {
    /// Plans a field, and writes the files if a folder is named.
    ///
    /// # Errors
    /// A [`Failure`] that names the option that makes no plan.
    pub(crate) async fn plan(self, workspace: Option<&Workspace>) -> Result<Planned, Failure> {
        let catalogue = match workspace {
            Some(workspace) => open_catalogue(workspace)?,
            None => Catalogue::read(None, store::stages::expression::plan)?,
        };
        let protocol = catalogue.protocol(&self.protocol).ok_or_else(|| {
            Failure::new(Kind::Protocol, format!("no protocol {:?}", self.protocol))
                .at("--protocol")
                .mend(format!("the catalog has {}", catalogue.ids()))
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
        Ok(Planned::of(&plan, &facts, files))
    }

    fn check_shares(&self) -> Result<(), Failure> {
        let within = |value: f64, above: f64, below: f64| value > above && value < below;
        if let Some(low) = self.low.filter(|low| !within(*low, 0.0, 1.0)) {
            return Err(wrong("--low", &low, "a share above 0 and below 1"));
        }
        if !within(self.miss_cost, 0.0, MISS_COST_MAX) {
            let right = format!("a number above 0 and below {MISS_COST_MAX}");
            return Err(wrong("--miss-cost", &self.miss_cost, &right));
        }
        if !(self.precision >= PRECISION_MIN && self.precision < 1.0) {
            let right = format!("a share from {PRECISION_MIN} to below 1");
            return Err(wrong("--precision", &self.precision, &right));
        }
        match self.risk.filter(|risk| !within(*risk, 0.0, 0.5)) {
            None => Ok(()),
            Some(risk) => Err(wrong("--risk", &risk, "a share above 0 and below 0.5")),
        }
    }

    /// Wald's lines where an error rate or a low mean is given, else those of the least expected cost.
    fn lines(&self, threshold: f64) -> Lines {
        if self.low.is_none() && self.risk.is_none() {
            return Lines::ByCost(Costs {
                miss: self.miss_cost,
                site: SITE_COST,
            });
        }
        let risk = self.risk.unwrap_or(RISK);
        Lines::Walds {
            low_mean: self.low.unwrap_or(LOW) * threshold,
            risks: Risks {
                false_high: risk,
                false_low: risk,
            },
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
        let lines = self.lines(threshold);
        let usual = match lines {
            Lines::Walds { .. } => sites_min.saturating_mul(4).min(SITES_MAX),
            Lines::ByCost(_) => {
                let [least, most] = USUAL_SITES_MAX;
                let five_times = sites_min.saturating_mul(5);
                five_times.clamp(least, most).max(sites_min)
            }
        };
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
            lines,
            units_per_site: protocol.sample.units_per_site as u32,
            scatter,
            precision: self.precision,
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
}

fn tells_nothing_of_a_field(protocol: &Protocol) -> Failure {
    let what = format!(
        "{} gives a regional risk and no figure of a field: there is no field to plan for",
        protocol.id
    );
    Failure::new(Kind::Protocol, what)
        .at("--protocol")
        .mend("name a protocol that decides about fields; see bractline protocols list")
}

/// What single options allow and together do not: a dispersion that gives no variance, or lines that do not part.
fn no_plan(question: &PlanQuestion) -> Failure {
    let lines = match question.lines {
        Lines::Walds { low_mean, risks } => {
            format!("low mean {low_mean}, risks {}", risks.false_high)
        }
        Lines::ByCost(costs) => format!("miss cost {}", costs.miss),
    };
    Failure::new(Kind::Settings, "no plan can be made from these numbers")
        .at(format!(
            "threshold {}, {lines}, precision {}, sites {} to {}",
            question.threshold, question.precision, question.sites_min, question.sites_max
        ))
        .mend("move --low away from 1, or give another --threshold or --k")
}

/// The plan for people, without its files.
fn lines(plan: &FieldPlan, facts: &CardFacts) -> Vec<String> {
    let question = facts.question;
    let mut lines = vec![
        format!(
            "threshold {:.3} ({}), {} units per site",
            question.threshold, facts.threshold_from, question.units_per_site
        ),
        facts.scatter_from.clone(),
        format!(
            "{} sites for a standard error of {:.0}% at the threshold",
            plan.sites_for_precision,
            100.0 * question.precision
        ),
        String::new(),
        "sites  threshold  below threshold: sum at or under  not ruled out: sum from".to_owned(),
    ];
    lines.extend(plan.stops.iter().map(|stop| {
        let low = stop
            .low_total
            .map_or("-".to_owned(), |total| total.to_string());
        format!(
            "{:>5}  {:>9}  {low:>32}  {:>23}",
            stop.sites,
            threshold_sum(question, stop.sites),
            stop.high_total
        )
    }));
    lines.push(last_site(plan, question));
    lines.push(String::new());
    lines
        .push("true mean  /threshold  below threshold  not ruled out  sites on average".to_owned());
    lines.extend(plan.operating_points.iter().map(|point| {
        format!(
            "{:>9.3}  {:>10.3}  {:>14.1}%  {:>12.1}%  {:>16.1}",
            point.true_mean,
            point.true_mean / question.threshold,
            100.0 * point.probability_low,
            100.0 * point.probability_high,
            point.mean_units
        )
    }));
    lines.push(String::new());
    lines.push(how_lines_are_chosen(question));
    lines.push(OF_ONE_FIELD.to_owned());
    lines
}
