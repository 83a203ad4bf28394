//! The plan for sampling a field as files: the stop table and the operating characteristic as CSV, and a card to
//! print and take along.
//!
//! Writes what `statistics::field_plan` found; it computes nothing but presentation.

use askama::Template;
use serde::Serialize;

use crate::shared::cautions::SCOUT_FIRST;
use crate::shared::passages::{Passage, cautions_in_short, passage};
use crate::shared::report::grouped;
use crate::shared::tables::csv_of;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::{Layout, Protocol};
use scouting::protocol::sheet_layout::unit_name;
use scouting::visit::record::CountForm;
use stats::sampling::field_plan::{FieldPlan, Lines, PlanQuestion, SAMPLES, Stop};

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
    threshold_total: u64,
    stop_below_at_or_under: Option<u64>,
    stop_not_ruled_out_from: u64,
    precise_from: Option<u64>,
}

/// A row of the operating characteristic.
#[derive(Serialize)]
struct PointRow {
    true_mean: f64,
    true_mean_per_threshold: f64,
    probability_said_below: f64,
    probability_not_ruled_out: f64,
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
        threshold_total: threshold_sum(question, stop.sites),
        stop_below_at_or_under: stop.low_total,
        stop_not_ruled_out_from: stop.high_total,
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
        probability_not_ruled_out: point.probability_high,
        share_at_most_sites: point.share_at_limit,
        mean_sites: point.mean_units,
        p90_sites: point.p90_units,
    }))
}

/// Rows that a block of the table has room for.
const ROWS_A_BLOCK: usize = 20;
/// Means at which the card says how sure it is, as shares of the threshold.
const SAID: [f64; 6] = [0.5, 0.75, 1.0, 1.25, 1.5, 2.0];
/// A caution on the card is cut after the sentence that passes this number of characters.
const CAUTION_LETTERS: usize = 90;

#[derive(Template)]
#[template(path = "stop_card.html", config = "src/shared/templates/askama.toml")]
struct Card<'a> {
    facts: &'a CardFacts<'a>,
    counted: &'a str,
    things: &'a str,
    units_of_a_site: String,
    by_night: bool,
    spread: &'static str,
    threshold: String,
    first_sum: u64,
    first_units: String,
    precision: Option<String>,
    blocks: Vec<Vec<CardRow>>,
    last_site: String,
    points: Vec<CardPoint>,
    samples: String,
    lines: String,
    /// The scout's own safety, before all else.
    safety: Passage,
    cautions: Vec<Passage>,
}

struct CardRow {
    sites: u32,
    threshold: u64,
    low: String,
    high: u64,
    precise: String,
}

/// What the card does at a true mean.
struct CardPoint {
    ratio: f64,
    low: String,
    high: String,
    sites: String,
}

/// The card as one HTML page that needs no other file.
pub(crate) fn stop_card(plan: &FieldPlan, facts: &CardFacts) -> Result<String, Failure> {
    let question = facts.question;
    let sample = &facts.protocol.sample;
    // A sum that even a field at threshold does not reach with the most sites helps nobody.
    let is_precise = plan.sites_for_precision <= u64::from(question.sites_max);
    let rows: Vec<CardRow> = plan.stops.iter().map(|stop| row(stop, question)).collect();
    let blocks = rows.len().div_ceil(ROWS_A_BLOCK).max(1);
    let rows_a_block = rows.len().div_ceil(blocks);
    let mut rows = rows.into_iter();
    let blocks = (0..blocks)
        .map(|_| rows.by_ref().take(rows_a_block).collect())
        .collect();
    let card = Card {
        facts,
        counted: &facts.protocol.counted,
        things: things(facts.protocol),
        units_of_a_site: units(facts, question.units_per_site),
        by_night: sample.form == CountForm::Traps && sample.catch_by_night,
        spread: spread_of_sites(facts.protocol.layout),
        threshold: format!("{:.2}", question.threshold),
        first_sum: threshold_sum(question, question.sites_min),
        first_units: units(facts, question.units_per_site * question.sites_min),
        precision: is_precise.then(|| in_percent(question.precision)),
        blocks,
        last_site: last_site(plan, question),
        points: points(plan, question),
        samples: grouped(u64::from(SAMPLES)),
        lines: how_lines_are_chosen(question),
        safety: passage(SCOUT_FIRST.0, SCOUT_FIRST.1.to_owned()),
        cautions: short_cautions(facts.protocol),
    };
    card.render().map_err(|error| {
        Failure::because(Kind::Publish, "cannot write the stop card", error).at(&*facts.protocol.id)
    })
}

fn row(stop: &Stop, question: &PlanQuestion) -> CardRow {
    let or_none = |total: Option<u64>| total.map_or("–".to_owned(), |total| total.to_string());
    let threshold = threshold_sum(question, stop.sites);
    CardRow {
        sites: stop.sites,
        threshold,
        low: or_none(stop.low_total),
        high: stop.high_total,
        precise: or_none(stop.precise_total.filter(|total| *total <= threshold)),
    }
}

fn points(plan: &FieldPlan, question: &PlanQuestion) -> Vec<CardPoint> {
    let found = SAID.iter().filter_map(|ratio| {
        let point = plan.at(ratio * question.threshold)?;
        Some(CardPoint {
            ratio: *ratio,
            low: in_percent(point.probability_low),
            high: in_percent(point.probability_high),
            sites: format!("{:.1}", point.mean_units),
        })
    });
    found.collect()
}

/// The sum of so many sites at which their mean is the threshold.
pub(crate) fn threshold_sum(question: &PlanQuestion, sites: u32) -> u64 {
    let units = f64::from(sites) * f64::from(question.units_per_site);
    // Whole but for the rounding of doubles.
    (units * question.threshold * (1.0 - 1e-12)).ceil() as u64
}

/// What becomes of a sample that has the most sites.
pub(crate) fn last_site(plan: &FieldPlan, question: &PlanQuestion) -> String {
    let sites = question.sites_max;
    match plan.last_low_total {
        Some(low) => format!(
            "After {sites} sites stop in any case: a sum of {low} or less is below threshold; with a larger \
             sum the threshold is not ruled out."
        ),
        None => format!("After {sites} sites stop in any case: the threshold is not ruled out."),
    }
}

/// How the lines were chosen, a sentence or two.
pub(crate) fn how_lines_are_chosen(question: &PlanQuestion) -> String {
    match question.lines {
        Lines::ByCost(costs) => format!(
            "Lines of the least expected cost: missing a field above threshold weighs {} times as much as a needless \
             \u{201c}not ruled out\u{201d} as far below it, and a site costs {} of a needless one (settings, not measured).",
            costs.miss, costs.site
        ),
        Lines::Walds { low_mean, risks } => format!(
            "Wald's lines between {low_mean:.2} and the threshold, nominal error rates alpha = beta = {}.",
            risks.false_high
        ),
    }
}

/// What is added up: `eggs`.
fn things(protocol: &Protocol) -> &str {
    let counted = &protocol.counted;
    counted
        .split_once(" per ")
        .map_or(&**counted, |(things, _)| things)
}

/// The first sentences of what to consider before anyone treats, without what is about regional figures alone.
fn short_cautions(protocol: &Protocol) -> Vec<Passage> {
    let cautions = cautions_in_short(protocol);
    let in_short = |one: &Passage| passage(&one.title, first_sentences(&one.text));
    cautions.iter().map(in_short).collect()
}

fn first_sentences(text: &str) -> String {
    let mut short = String::new();
    for sentence in text.split_inclusive(". ") {
        if short.chars().count() >= CAUTION_LETTERS {
            break;
        }
        short.push_str(sentence);
    }
    short.trim_end().to_owned()
}

fn units(facts: &CardFacts, number: u32) -> String {
    let unit = unit_name(facts.protocol.sample.form).to_lowercase();
    match number {
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

fn in_percent(share: f64) -> String {
    format!("{:.0}%", 100.0 * share)
}
