//! The catalog in words, for a terminal: the list, and one protocol as a page.
//!
//! Facts come from the protocol and the standing cautions alone; nothing is added to them here.

use crate::shared::cautions::{crop_and_stage, standing_cautions};
use crate::shared::passages::{count_timing, sites_by_area};
use crate::shared::shown_numbers::Units;
use scouting::failure::Failure;
use scouting::protocol::catalogue::{Catalogue, Decision, Layout, Protocol, ThresholdKind};
use scouting::protocol::protocol_file::{Check, Given};
use scouting::protocol::threshold::worked_values;
use scouting::visit::record::CountForm;

/// Columns of a line.
const WIDTH: usize = 92;
/// Columns before the words of a page.
const INDENT: usize = 14;

/// Every protocol on a line, by crop.
pub(crate) fn list_text(catalogue: &Catalogue) -> String {
    let width = |of: &dyn Fn(&Protocol) -> String| {
        let lengths = catalogue.protocols().map(|one| of(one).chars().count());
        lengths.max().unwrap_or(0)
    };
    let (ids, titles) = (
        width(&|one| one.id.clone()),
        width(&|one| one.title.clone()),
    );
    let spans = width(&span);
    let line = |id: &str, title: &str, span: &str, threshold: &str| {
        format!("{id:<ids$}  {title:<titles$}  {span:<spans$}  {threshold}")
    };
    let mut crops: Vec<&str> = catalogue.protocols().map(|one| one.crop.as_str()).collect();
    crops.sort_unstable();
    crops.dedup();
    let mut lines = vec![line("id", "what is counted", "stages", "threshold")];
    for crop in crops {
        lines.push(format!("\n{crop}"));
        for one in catalogue.protocols().filter(|one| one.crop == crop) {
            lines.push(line(
                &one.id,
                &one.title,
                &span(one),
                &one.threshold.in_short,
            ));
        }
    }
    lines.push(String::new());
    lines.push(wrapped(
        "Counts are compared with a field's threshold only within the stages. How to sample, the formula, its source \
         and the cautions: bractline protocols show ID. A sheet to count on: bractline sheet --protocol ID --out DIR.",
        0,
    ));
    lines.join("\n")
}

/// One protocol as a page.
pub(crate) fn show_text(protocol: &Protocol, units: Units) -> Result<String, Failure> {
    let (sample, threshold, timing) = (&protocol.sample, &protocol.threshold, &protocol.timing);
    let mut page = Page::default();
    page.lines.push(protocol.title.clone());
    page.lines
        .push("=".repeat(protocol.title.chars().count().min(WIDTH)));
    page.part("id", &protocol.id);
    page.part("pest", &protocol.pest);
    page.part("crop", &crop(protocol));

    page.section("Sampling");
    page.part("what", &what(protocol));
    let timed = count_timing(protocol).map_or_else(String::new, |said| format!(". {said}"));
    page.part("when", &format!("crop stages {}{timed}", stages(protocol)));
    page.source(&protocol.stages.source);
    page.part("where", place(protocol.layout));
    page.part("how", &sample.plan);
    page.part("at least", &size(protocol, units));
    page.source(&sample.source);

    page.section("Threshold");
    page.part("kind", &kind(protocol));
    page.part("in", &protocol.counted);
    page.part("formula", &threshold.formula);
    for (number, (check, value)) in protocol
        .checks
        .iter()
        .zip(worked_values(protocol)?)
        .enumerate()
    {
        if number == 0 || given_words(&check.given, units).is_some() {
            page.part("example", &example(check, value, units));
        }
    }
    page.source(&threshold.source);
    page.part("as SQL", &threshold.expression);

    if let Some(damage) = &protocol.damage {
        page.section("Crop saved by treatment");
        page.part("relation", &damage.formula);
        page.source(&damage.source);
        page.part("as SQL", &damage.saved_kg_per_ha_per_count);
        if let Some(beginning) = &damage.saved_kg_per_ha_at_none {
            page.part("at none", beginning);
        }
    }

    let next_step = timing.next_step.as_deref().unwrap_or_default();
    page.section(&match protocol.decision {
        Decision::Field => "Treatment".to_owned(),
        Decision::Scout | Decision::Region => format!("What to do next: {next_step}"),
    });
    if let Some(stages) = &protocol.treatment_stages {
        let (first, last) = (&stages.first, &stages.last);
        page.part(
            "works at",
            &match first == last {
                true => format!("crop stage {first}"),
                false => format!("crop stages {first} to {last}"),
            },
        );
        page.source(&stages.source);
    }
    if let Some(stage) = &timing.treat_at {
        page.part("stage", stage);
    }
    page.part("timing", &timing.treat);
    if let Some([low, high]) = timing.hatch_days {
        page.part("hatch", &format!("{low} to {high} days after laying"));
    }
    page.source(&timing.source);
    if let Some((days, source)) = days_without_weather(protocol) {
        page.part("days", &days);
        page.source(source);
    }

    page.section("Cautions");
    for caution in &protocol.cautions {
        page.part("this count", &caution.text);
        page.source(&caution.source);
    }
    for caution in standing_cautions([crop_and_stage(protocol)]) {
        page.part("always", &format!("{}. {}", caution.title, caution.text));
    }
    Ok(page.lines.join("\n"))
}

/// Days from the stages of the window to that of treatment, in words, and their source.
fn days_without_weather(protocol: &Protocol) -> Option<(String, &str)> {
    let treat_at = protocol.timing.treat_at.as_ref()?;
    let days = protocol.development.as_ref()?.without_weather.as_ref()?;
    let ends = [&protocol.stages.first, &protocol.stages.last];
    let from = ends.into_iter().filter_map(|name| {
        let [low, high] = days.days_from(protocol.scale.read(name)?)?;
        Some(format!("{low} to {high} days from {name}"))
    });
    let from = from.collect::<Vec<_>>().join(", ");
    Some((
        format!("without weather records, to {treat_at}: {from}"),
        &days.source,
    ))
}

/// What its source calls the threshold, and what that means where it describes this one: loss and cost say nothing of a
/// fixed value.
fn kind(protocol: &Protocol) -> String {
    let kind = protocol.threshold.kind;
    let fixed = protocol
        .limits()
        .economics_needed
        .values()
        .all(|needed| needed.is_empty());
    match (kind, fixed) {
        (ThresholdKind::EconomicInjuryLevel, true) => {
            format!(
                "{kind}, as its source calls it: a fixed value, not computed from costs and prices"
            )
        }
        (_, _) => format!("{kind}: {}", kind.meaning()),
    }
}

/// A page under way: a name in the margin, the words next to it.
#[derive(Default)]
struct Page {
    lines: Vec<String>,
}

impl Page {
    fn section(&mut self, title: &str) {
        self.lines.push(String::new());
        self.lines.push(title.to_owned());
        self.lines.push("-".repeat(title.chars().count()));
    }

    fn part(&mut self, name: &str, text: &str) {
        let words = wrapped(text, INDENT);
        self.lines
            .push(format!("  {name:<12}{}", words.trim_start()));
    }

    fn source(&mut self, source: &str) {
        self.lines
            .push(wrapped(&format!("[source: {}]", one_line(source)), INDENT));
    }
}

fn crop(protocol: &Protocol) -> String {
    match &protocol.crop_types[..] {
        [only] if *only == protocol.crop => only.clone(),
        [only] => format!("{}, {only} only", protocol.crop),
        several => format!("{} ({})", protocol.crop, several.join(", ")),
    }
}

fn stages(protocol: &Protocol) -> String {
    format!("{} to {}", protocol.stages.first, protocol.stages.last)
}

/// The stage window for a column.
fn span(protocol: &Protocol) -> String {
    let stages = protocol.scale.stages();
    let ends = stages.first().zip(stages.last());
    let whole = ends.map(|(first, last)| (first.first_place(), last.last_place()));
    if whole == protocol.window() {
        return "any stage".to_owned();
    }
    format!("{}–{}", protocol.stages.first, protocol.stages.last)
}

fn place(layout: Layout) -> &'static str {
    match layout {
        Layout::Edge => "along the field's edge",
        Layout::Interior => "well inside the field",
        Layout::Station => "where the traps are",
    }
}

fn what(protocol: &Protocol) -> String {
    let sample = &protocol.sample;
    match (sample.form, sample.each_count_at_most) {
        (_, Some(1)) => format!("{}; each plant is recorded as 1 or 0", protocol.counted),
        _ => protocol.counted.clone(),
    }
}

fn size(protocol: &Protocol, units: Units) -> String {
    let sample = &protocol.sample;
    let counted = |count: usize, one: &str| {
        let plural = if count == 1 { "" } else { "s" };
        format!("{count} {one}{plural}")
    };
    let unit = match sample.form {
        CountForm::Heads => "head",
        CountForm::Plants => "plant",
        CountForm::Traps => "trap",
    };
    let parts = sample.counts_per_unit.map_or_else(String::new, |parts| {
        format!(", {} a {unit}", counted(parts, "bract"))
    });
    let more = sites_by_area(protocol, units);
    let more = more.map_or_else(String::new, |more| format!("; {more}"));
    format!(
        "{}, {} a site{parts}{more}",
        counted(sample.sites_min, "site"),
        counted(sample.units_per_site, unit)
    )
}

fn example(check: &Check, value: f64, units: Units) -> String {
    let given = given_words(&check.given, units).unwrap_or_else(|| "any field".to_owned());
    format!("{given} → {}", figure(value))
}

/// What a worked value gives, in words; `None` if it gives nothing.
fn given_words(given: &Given, units: Units) -> Option<String> {
    let cost = given.treatment_cost.as_ref();
    let value = given.market_value.as_ref();
    let plants = given.plant_population.as_ref();
    let parts = [
        given.crop_type.clone(),
        given.crop_stage.as_ref().map(|stage| format!("at {stage}")),
        cost.map(|cost| format!("treatment {}", units.cost(cost))),
        value.map(|value| format!("crop {}", units.price(value))),
        plants.map(|plants| units.plants(plants)),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// Four significant digits at least: 3.205, 0.00735, 900.
fn figure(value: f64) -> String {
    let digits = (3.0 - value.abs().log10().floor()).clamp(0.0, 8.0) as usize;
    let text = format!("{value:.digits$}");
    match text.split_once('.') {
        Some(_) => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        None => text,
    }
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The words within the width, each line after so many spaces.
fn wrapped(text: &str, indent: usize) -> String {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let length = line.chars().count() + 1 + word.chars().count();
        if !line.is_empty() && indent + length > WIDTH {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    lines.push(line);
    let margin = " ".repeat(indent);
    let lines: Vec<String> = lines.iter().map(|line| format!("{margin}{line}")).collect();
    lines.join("\n")
}
