//! `bractline plan`: how much more to sample, and how far into a field to look.

use std::path::PathBuf;

use arrow::array::{Array, AsArray, RecordBatch};
use arrow::datatypes::{Float64Type, Int32Type};
use serde::Serialize;
use serde_json::json;

use super::plan_edge::PlanEdge;
use super::rollup::Figures;
use super::{Format, Outcome, open_catalogue, report};
use crate::failure::{Failure, Kind};
use crate::protocol::catalogue::{Catalogue, Protocol};
use crate::protocol::plan_threshold::ThresholdField;
use crate::protocol::threshold::threshold_of;
use crate::publish::cautions::IN_ONE_SENTENCE;
use crate::publish::files::write_folder;
use crate::publish::stop_card::{
    CardFacts, how_far_to_trust, operating_characteristic_csv, stop_card, stop_table_csv,
};
use crate::statistics::field_plan::{FieldPlan, PlanQuestion, SiteScatter, plan_field};
use crate::statistics::power_law::{MeanVariance, PowerLaw, fit_power_law};
use crate::statistics::stop_lines::Risks;
use crate::visit::record::Economics;
use crate::workspace::Workspace;

const PROGRAM: &str = concat!("bractline ", env!("CARGO_PKG_VERSION"));
/// Fewer visits than this make no law of a season. Our choice.
const VISITS_MIN: u64 = 10;

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
    after_help = "Examples:\n  bractline plan field --protocol bsm-eggs --threshold 3.2 --k 0.9\n  bractline plan field --protocol bsm-eggs --treatment-cost 8/acre --market-value 0.16/lb --plants 20000/acre --season 2026 --out plan\n\nThe scatter of the sites is yours (--k) or comes from the workspace's visits of a season (--season). With --out it\nwrites stop_table.csv, operating_characteristic.csv and stop_card.html, a card to print."
)]
pub struct PlanField {
    /// Id of the protocol, as `bractline protocols list` shows it
    #[arg(long, value_name = "ID")]
    protocol: String,

    /// Threshold of the field, count a unit, in place of its economics
    #[arg(long, value_name = "NUMBER", conflicts_with_all = ["treatment_cost", "market_value", "plants"])]
    threshold: Option<f64>,

    /// Cost of one treatment, as 8/acre or 20/ha
    #[arg(long, value_name = "AMOUNT/UNIT")]
    treatment_cost: Option<String>,

    /// What the crop sells for, as 0.16/lb or 0.35/kg
    #[arg(long, value_name = "AMOUNT/UNIT")]
    market_value: Option<String>,

    /// Plants standing, as 20000/acre or 49000/ha
    #[arg(long, value_name = "COUNT/UNIT")]
    plants: Option<String>,

    /// Type of crop [default: the first that the protocol names]; fills what is missing from [defaults]
    #[arg(long, value_name = "TYPE")]
    crop_type: Option<String>,

    /// k of the totals of sites, where you assume one
    #[arg(long, value_name = "NUMBER", required_unless_present = "season")]
    k: Option<f64>,

    /// Season whose visits say how sites scatter: an ISO week-year
    #[arg(long, value_name = "YEAR", conflicts_with = "k")]
    season: Option<i32>,

    /// Share of the threshold at which a field is surely not to be treated
    #[arg(long, value_name = "SHARE", default_value_t = 0.5)]
    low: f64,

    /// Wanted standard error of the mean, as a share of the mean
    #[arg(long, value_name = "SHARE", default_value_t = 0.25)]
    precision: f64,

    /// Risk of each of the two wrong answers
    #[arg(long, value_name = "SHARE", default_value_t = 0.1)]
    risk: f64,

    /// Sites that are always done [default: the protocol's least number]
    #[arg(long, value_name = "NUMBER")]
    sites_min: Option<u32>,

    /// Sites after which a sample ends in any case [default: four times the least number]
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
            None => Catalogue::read(None)?,
        };
        let protocol = catalogue.protocol(&self.protocol).ok_or_else(|| {
            Failure::new(Kind::Protocol, format!("no protocol {:?}", self.protocol))
                .mend(format!("the catalogue has {}", catalogue.ids()))
        })?;
        let (threshold, threshold_from) = self.threshold(protocol, workspace)?;
        let (scatter, scatter_from) = self.scatter(protocol, workspace).await?;
        let question = self.question(protocol, threshold, scatter);
        let plan = plan_field(&question).ok_or_else(|| no_plan(&question))?;
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

    /// The threshold, count a unit, and a phrase that says where it comes from.
    fn threshold(
        &self,
        protocol: &Protocol,
        workspace: Option<&Workspace>,
    ) -> Result<(f64, String), Failure> {
        if let Some(threshold) = self.threshold {
            return Ok((threshold, "given".to_owned()));
        }
        let crop_type = self.crop_type.as_ref().unwrap_or(&protocol.crop_types[0]);
        let defaults = workspace.and_then(|one| one.settings().defaults.get(crop_type));
        let given = self.economics(&protocol.plausible.currency)?;
        let limits = protocol.limits();
        let needed = limits.economics_needed(crop_type);
        let lacking = given.lacking(needed);
        let filled = defaults.map_or_else(|| given.clone(), |one| given.filled(&lacking, one));
        let from = match (needed.len(), lacking.len()) {
            (0, _) => "of the protocol, the same for every field",
            (_, 0) => "of the costs, price and stand given",
            _ => "of the costs, price and stand given, and of the workspace's defaults",
        };
        let missing = filled.lacking(needed);
        if !missing.is_empty() {
            let names: Vec<&str> = missing.iter().map(|member| member.name()).collect();
            return Err(Failure::new(
                Kind::Settings,
                format!("the threshold needs {}", names.join(", ")),
            )
            .mend("give --treatment-cost, --market-value and --plants, or the threshold itself with --threshold"));
        }
        let field = ThresholdField {
            economics: &filled,
            area_ha: protocol.plausible.area_ha[0],
            crop_type,
            crop_stage: &protocol.stages.first,
        };
        Ok((threshold_of(protocol, &field)?, from.to_owned()))
    }

    fn economics(&self, currency: &str) -> Result<Economics, Failure> {
        let mut economics = json!({});
        let given = [
            ("treatment_cost", "amount", &self.treatment_cost),
            ("market_value", "amount", &self.market_value),
            ("plant_population", "count", &self.plants),
        ];
        for (member, name, text) in given {
            if let Some(text) = text {
                economics[member] = amount(text, name, (name == "amount").then_some(currency))?;
            }
        }
        serde_json::from_value(economics).map_err(|error| {
            Failure::new(Kind::Settings, format!("an amount cannot be used: {error}"))
                .mend("write 8/acre or 20/ha, 0.16/lb or 0.35/kg, 20000/acre or 49000/ha")
        })
    }

    /// How sites scatter, and a sentence that says where that comes from.
    async fn scatter(
        &self,
        protocol: &Protocol,
        workspace: Option<&Workspace>,
    ) -> Result<(SiteScatter, String), Failure> {
        if let Some(k) = self.k {
            let from = format!(
                "The scatter is assumed: k = {k} of the totals of sites. No count of yours says so."
            );
            return Ok((SiteScatter::TotalsWithK(k), from));
        }
        let season = self.season.unwrap_or_default();
        let workspace = workspace.ok_or_else(|| {
            Failure::new(
                Kind::Files,
                "--season needs a workspace, whose visits say how sites scatter",
            )
            .mend("name one with --workspace DIR, or assume a k with --k")
        })?;
        let figures = Figures::of(workspace).await?;
        let law = season_law(&figures.rollup.field_week().batch, &protocol.id, season)?;
        let from = format!(
            "The scatter is that of {} visits of the season {season}: the variance of site means is \
             {:.3} times the mean to the power {:.3} (Taylor's law).",
            law.samples, law.a_of_mean_variance, law.b,
        );
        let law = law.law_of_mean_variance();
        Ok((SiteScatter::MeansOfSites(law), from))
    }

    fn question(&self, protocol: &Protocol, threshold: f64, scatter: SiteScatter) -> PlanQuestion {
        let sites_min = self.sites_min.unwrap_or(protocol.sample.sites_min as u32);
        PlanQuestion {
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
            sites_max: self.sites_max.unwrap_or(4 * sites_min),
        }
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

/// `8/acre` as a member of the economics.
fn amount(text: &str, name: &str, currency: Option<&str>) -> Result<serde_json::Value, Failure> {
    let parts = text
        .split_once('/')
        .and_then(|(number, unit)| Some((number.trim().parse::<f64>().ok()?, unit.trim())));
    let (number, unit) = parts.filter(|(number, _)| *number > 0.0).ok_or_else(|| {
        Failure::new(Kind::Settings, format!("{text:?} is no amount with a unit"))
            .mend("write 8/acre or 20/ha, 0.16/lb or 0.35/kg, 20000/acre or 49000/ha")
    })?;
    let mut member = json!({name: number, "per": unit});
    if let Some(currency) = currency {
        member["currency"] = json!(currency);
    }
    Ok(member)
}

/// Taylor's law of the means of sites over the standing visits of a season.
fn season_law(field_week: &RecordBatch, protocol: &str, season: i32) -> Result<PowerLaw, Failure> {
    let protocols = field_week["protocol"].as_string::<i32>();
    let seasons = field_week["season"].as_primitive::<Int32Type>();
    let means = field_week["field_mean"].as_primitive::<Float64Type>();
    let variances = field_week["variance_between_sites"].as_primitive::<Float64Type>();
    let visits: Vec<MeanVariance> = (0..field_week.num_rows())
        .filter(|row| protocols.value(*row) == protocol && seasons.value(*row) == season)
        .filter(|row| variances.is_valid(*row))
        .map(|row| MeanVariance {
            mean: means.value(row),
            variance: variances.value(row),
        })
        .collect();
    fit_power_law(&visits)
        .filter(|law| law.samples >= VISITS_MIN)
        .ok_or_else(|| {
            Failure::new(
                Kind::Settings,
                format!("{season} has too few visits under {protocol} to say how sites scatter"),
            )
            .at(format!(
                "{} visits with more than one site; {VISITS_MIN} or more with something found are needed",
                visits.len()
            ))
            .mend("name a season with more visits, or assume a k with --k")
        })
}

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
        .mend("the threshold, the precision and k are above 0, --low lies between 0 and 1, --risk below 0.5, and --sites-max is not below --sites-min")
}
