//! The plan for sampling a field as files: the stop table and the operating characteristic as CSV, and a card to
//! print and take along.
//!
//! Writes what `statistics::field_plan` found; it computes nothing but presentation.

use askama::Template;
use serde::Serialize;

use crate::shared::passages::{Passage, cautions_in_short};
use crate::shared::tables::csv_of;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::{Layout, Protocol};
use scouting::protocol::sheet_layout::unit_name;
use scouting::visit::record::CountForm;
use stats::sampling::field_plan::{FieldPlan, PlanQuestion};

/// What a card says in addition to the plan.
#[derive(Debug, Clone)]
pub(crate) struct CardFacts<'a> {
    /// The protocol.
    pub protocol: &'a Protocol,
    /// What was asked.
    pub question: &'a PlanQuestion,
    /// Where the threshold comes from, a phrase: `given`, or the economics it was computed of.
    pub threshold_from: String,
    /// Where the dispersion comes from, a sentence; that it is assumed, where it is.
    pub scatter_from: String,
    /// Program and version.
    pub program: &'a str,
}

/// A row of the stop table. Totals are of everything counted so far.
#[derive(Serialize)]
struct StopRow {
    sites: u32,
    units: u32,
    stop_below_at_or_under: Option<u64>,
    stop_at_threshold_from: u64,
    precise_from: Option<u64>,
}

/// A row of the operating characteristic.
#[derive(Serialize)]
struct PointRow {
    true_mean: f64,
    true_mean_per_threshold: f64,
    probability_said_below: f64,
    probability_said_at_threshold: f64,
    share_at_most_sites: f64,
    mean_sites: f64,
    p90_sites: f64,
}

/// `stop_table.csv`: a row a site; empty where no total says so yet.
pub(crate) fn stop_table_csv(
    plan: &FieldPlan,
    question: &PlanQuestion,
) -> Result<Vec<u8>, Failure> {
    csv_of(plan.stops.iter().map(|stop| StopRow {
        sites: stop.sites,
        units: stop.sites * question.units_per_site,
        stop_below_at_or_under: stop.low_total,
        stop_at_threshold_from: stop.high_total,
        precise_from: stop.precise_total,
    }))
}

/// `operating_characteristic.csv`: what the plan says of fields whose true mean is known, by simulation.
pub(crate) fn operating_characteristic_csv(
    plan: &FieldPlan,
    question: &PlanQuestion,
) -> Result<Vec<u8>, Failure> {
    csv_of(plan.operating_points.iter().map(|point| PointRow {
        true_mean: point.true_mean,
        true_mean_per_threshold: point.true_mean / question.threshold,
        probability_said_below: point.probability_low,
        probability_said_at_threshold: point.probability_high,
        share_at_most_sites: point.share_at_limit,
        mean_sites: point.mean_units,
        p90_sites: point.p90_units,
    }))
}

#[derive(Template)]
#[template(path = "stop_card.html", config = "src/shared/templates/askama.toml")]
struct Card<'a> {
    facts: &'a CardFacts<'a>,
    counted: &'a str,
    units_of_a_site: String,
    by_night: bool,
    spread: &'static str,
    threshold: String,
    precision: String,
    sites_for_precision: u64,
    rows: Vec<CardRow>,
    trust: [String; 2],
    cautions: Vec<Passage>,
}

struct CardRow {
    sites: u32,
    low: String,
    high: u64,
    precise: String,
}

/// The card as one HTML page that needs no other file.
pub(crate) fn stop_card(plan: &FieldPlan, facts: &CardFacts) -> Result<String, Failure> {
    let question = facts.question;
    let or_none = |total: Option<u64>| total.map_or("–".to_owned(), |total| total.to_string());
    let sample = &facts.protocol.sample;
    let card = Card {
        facts,
        counted: &facts.protocol.counted,
        units_of_a_site: units_of_a_site(facts),
        by_night: sample.form == CountForm::Traps && sample.catch_by_night,
        spread: spread_of_sites(facts.protocol.layout),
        threshold: format!("{:.2}", question.threshold),
        precision: in_percent(question.precision),
        sites_for_precision: plan.sites_for_precision,
        rows: plan
            .stops
            .iter()
            .map(|stop| CardRow {
                sites: stop.sites,
                low: or_none(stop.low_total),
                high: stop.high_total,
                precise: or_none(stop.precise_total),
            })
            .collect(),
        trust: how_far_to_trust(plan, question),
        cautions: cautions_in_short(facts.protocol),
    };
    card.render().map_err(|error| {
        Failure::because(Kind::Publish, "cannot write the stop card", error).at(&*facts.protocol.id)
    })
}

fn units_of_a_site(facts: &CardFacts) -> String {
    let unit = unit_name(facts.protocol.sample.form).to_lowercase();
    match facts.question.units_per_site {
        1 => format!("1 {unit}"),
        units => format!("{units} {unit}s"),
    }
}

/// A sample that stops early must not have seen one part of the field alone.
fn spread_of_sites(layout: Layout) -> &'static str {
    match layout {
        Layout::Edge => "over all sides of the field",
        Layout::Interior => "over the whole field, away from its edges",
        Layout::Station => "as the protocol says",
    }
}

/// How often simulated samples of this plan end with the wrong answer, compared with what was asked: a sentence for
/// each of the two wrong answers.
pub(crate) fn how_far_to_trust(plan: &FieldPlan, question: &PlanQuestion) -> [String; 2] {
    let sentence = |mean: f64, wrong: f64, said: &str, risk: f64, sites: f64| {
        format!(
            "Where the true mean is {mean:.2}, {} of simulated samples end \u{201c}{said}\u{201d} (asked for: at most {}); \
             they take {sites:.1} sites on average.",
            in_percent(wrong),
            in_percent(risk)
        )
    };
    let (low, high) = (&plan.at_low_mean, &plan.at_threshold);
    let risks = question.risks;
    [
        sentence(
            question.low_mean,
            low.probability_high,
            "at or above",
            risks.false_high,
            low.mean_units,
        ),
        sentence(
            question.threshold,
            high.probability_low,
            "below",
            risks.false_low,
            high.mean_units,
        ),
    ]
}

fn in_percent(share: f64) -> String {
    format!("{:.0}\u{202f}%", 100.0 * share)
}
