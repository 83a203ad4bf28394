//! What a week's public rows say in plain words, only as strongly as they allow. Makes no HTML.

use super::assumed::what_is_assumed;
use super::row_words::{
    fields_at_threshold_in_words, fields_in_words, median_in_words, percent_in_words,
};
use super::summary::{Shown, Summary};
use crate::alert::bulletin::{Bulletin, ThresholdBasis};
use crate::shared::shown_numbers::{count_of, join_with_and};
use disclosure::rule::{Level, Rule};

/// Below this a county's figures are called few. From 12 fields on, the 95% Wilson confidence interval of a
/// share of one half is narrower than half the scale (0.254 to 0.746; computed).
const FEW_FIELDS: u32 = 12;
/// Where a county has a row.
const ENOUGH: &str = "with enough sampled fields to report";

/// What a county agent must grasp in ten seconds.
pub(crate) fn headline(summary: &Summary) -> String {
    let (shown, at_threshold) = (summary.shown.len(), summary.at_threshold());
    match (&*summary.shown, at_threshold) {
        ([], _) => headline_without_counties(summary),
        (_, 0) if summary.nothing_found() => match shown {
            1 => format!("Nothing found in {}", only(summary)),
            2 => format!("Nothing found in either of the 2 counties {ENOUGH}"),
            _ => format!("Nothing found in any of the {shown} counties {ENOUGH}"),
        },
        ([_], 0) => format!("No field at threshold in {}", only(summary)),
        (_, 0) => format!("No field at threshold in the {shown} counties {ENOUGH}"),
        ([county], _) => match county.row.at_threshold {
            [1, 1] => format!("One field at threshold in {}", only(summary)),
            [_, _] => format!("Fields at threshold in {}", only(summary)),
        },
        (_, all) if all == shown && shown == 2 => {
            format!("Fields at threshold in both counties {ENOUGH}")
        }
        (_, all) if all == shown => format!("Fields at threshold in all {shown} counties {ENOUGH}"),
        _ => format!("Fields at threshold in {at_threshold} of the {shown} counties {ENOUGH}"),
    }
}

fn only(summary: &Summary) -> String {
    let name = &summary.shown[0].name;
    format!("{name}, the only county {ENOUGH}")
}

/// No county has a row with figures: what the rows elsewhere say, or why there are none. Whether nobody scouted or too
/// few fields came in is not said: the difference would reveal single fields.
fn headline_without_counties(summary: &Summary) -> String {
    let places: Vec<String> = summary
        .elsewhere
        .iter()
        .filter(|place| place.row.at_threshold[0] > 0)
        .map(|place| format!("{} {}", fields_in_words(place.row), place.name))
        .collect();
    match (join_with_and(&places), summary.elsewhere.as_slice()) {
        (Some(places), _) => format!("Fields at threshold: {places}"),
        (None, [_, ..]) => {
            let all = count_of(
                Summary::fields(&summary.elsewhere) as usize,
                "field",
                "fields",
            );
            format!("No field at threshold among {all} in counties with too few to report alone")
        }
        (None, []) if summary.other_stage > 0 => {
            "Every field reported was at a crop stage at which this count is not valid".to_owned()
        }
        (None, []) => "No county has enough sampled fields to report this week".to_owned(),
    }
}

/// Short lines under the headline, each with a heading: where it is highest, and how sure.
pub(crate) fn key_facts(summary: &Summary) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    if let Some(county) = summary.highest() {
        let median = median_in_words(county.row)
            .map(|class| format!("; median pressure {class}"))
            .unwrap_or_default();
        let fields = fields_at_threshold_in_words(county.row);
        facts.push((
            "Highest county",
            format!("{}: {fields}{median}", county.name),
        ));
    }
    if let Some(county) = summary.highest().or_else(|| summary.least_visited()) {
        let fields = fields(county.row.fields_visited);
        let interval = percent_in_words(county.row, "\u{a0}to\u{a0}");
        let place = &county.name;
        facts.push((
            "Uncertainty",
            format!("{fields} sampled in {place}; 95% confidence interval for the percent of fields at threshold {interval}"),
        ));
        let counties = count_of(summary.shown.len(), "county", "counties");
        let all = Summary::fields(&summary.shown);
        facts.push(("Based on", format!("{} in {counties}", self::fields(all))));
    }
    facts
}

/// The rows elsewhere, one after the other: `none of 5 elsewhere in North`.
fn elsewhere_in_words(summary: &Summary) -> String {
    let places = summary.elsewhere.iter();
    let places: Vec<String> = places
        .map(|place| format!("{} {}", fields_at_threshold_in_words(place.row), place.name))
        .collect();
    places.join("; ")
}

fn fields(count: u32) -> String {
    count_of(count as usize, "field", "fields")
}

/// The week in one paragraph of plain words.
pub(crate) fn paragraph(bulletin: &Bulletin) -> String {
    let summary = Summary::of(bulletin.region, bulletin.rows);
    let mut sentences = vec![coverage(&summary, bulletin)];
    sentences.extend(where_it_is_highest(&summary));
    sentences.extend(how_far_to_trust(&summary));
    sentences.extend(what_is_elsewhere(&summary));
    sentences.extend(what_is_assumed(bulletin.rows));
    if let Some(previous) = bulletin.previous {
        sentences.extend(week_before(
            &summary,
            &Summary::of(bulletin.region, previous),
        ));
    }
    sentences.extend(what_is_not_shown(&summary));
    sentences.join(" ")
}

fn coverage(summary: &Summary, bulletin: &Bulletin) -> String {
    let threshold = &bulletin.protocol.threshold_name;
    let window = &bulletin.protocol.stage_window;
    let place = match &*summary.shown {
        [] => return "No county has enough sampled fields for figures of its own.".to_owned(),
        [county] => format!("In {}, the only county {ENOUGH}", county.name),
        [_, _] => format!("In the 2 counties {ENOUGH}"),
        counties => format!("In the {} counties {ENOUGH}", counties.len()),
    };
    let visited = Summary::fields(&summary.shown);
    let (its, their) = match bulletin.protocol.threshold_basis {
        ThresholdBasis::Economics => ("its own", "their own"),
        ThresholdBasis::Fixed | ThresholdBasis::Region => ("the", "the"),
    };
    let found = match Summary::fields_at_threshold(&summary.shown) {
        [_, 0] => format!("none of them was at or above {its} {threshold}"),
        [1, 1] => format!("1 of them was at or above {its} {threshold}"),
        [least, most] if least == most => {
            format!("{least} of them were at or above {their} {threshold}")
        }
        [least, most] => {
            format!("{least} to {most} of them were at or above {their} {threshold}")
        }
    };
    let fields = fields(visited);
    format!("{place}, scouts sampled {fields} at {window}; {found}.")
}

/// How many of the region's counties have figures, and how many fields they are based on.
pub(super) fn coverage_of_counties(summary: &Summary) -> String {
    let (shown, without) = (summary.shown.len(), summary.without_figures.len());
    let all = shown + summary.other_stage + without;
    let mut parts = vec![format!(
        "{shown} of {} with figures",
        count_of(all, "county", "counties")
    )];
    if summary.other_stage > 0 {
        parts.push(format!(
            "{} with all fields at another crop stage",
            summary.other_stage
        ));
    }
    if without > 0 {
        parts.push(format!(
            "{without} not visited or with too few fields to publish"
        ));
    }
    let here = fields(Summary::fields(&summary.shown));
    let elsewhere = match Summary::fields(&summary.elsewhere) {
        0 => String::new(),
        some => format!(", and {} of other counties combined", fields(some)),
    };
    format!(
        "{}. Figures are based on {here} in the counties shown{elsewhere}.",
        parts.join("; ")
    )
}

fn where_it_is_highest(summary: &Summary) -> Option<String> {
    let Some(county) = summary.highest() else {
        let county = summary.least_visited()?;
        let [_, reach] = county.row.share_interval()?;
        let reach = (reach * 100.0).round();
        let (name, fields) = (&county.name, fields(county.row.fields_visited));
        return Some(format!(
            "No field at threshold does not prove that there is none: with {fields} sampled in {name}, up to {reach}% of \
             fields there may be at threshold (95% confidence interval)."
        ));
    };
    let name = &county.name;
    let fields = fields_at_threshold_in_words(county.row);
    let interval = percent_in_words(county.row, " to ");
    let median = median_in_words(county.row)
        .map(|class| format!(" with a median pressure of {class}"))
        .unwrap_or_default();
    let start = match summary.shown.len() {
        1 => format!("In {name}"),
        _ => format!("Pressure was highest in {name}"),
    };
    Some(format!(
        "{start}{median}: {fields} (95% confidence interval {interval})."
    ))
}

fn how_far_to_trust(summary: &Summary) -> Option<String> {
    let county = summary.highest()?;
    let visited = county.row.fields_visited;
    let [low, high] = county.row.share_interval()?;
    let wide = high - low > 0.5;
    let reading = "use it to target scouting, not as a county estimate";
    match (visited < FEW_FIELDS, wide) {
        (true, true) => Some(format!(
            "That is based on only {}, and the interval is wide: {reading}.",
            fields(visited)
        )),
        (true, false) => Some(format!(
            "That is based on only {}: {reading}.",
            fields(visited)
        )),
        (false, true) => Some(format!("The interval is wide: {reading}.")),
        (false, false) => None,
    }
}

/// The rows of fields whose counties have too few of their own.
fn what_is_elsewhere(summary: &Summary) -> Option<String> {
    (!summary.elsewhere.is_empty()).then(|| {
        format!(
            "Fields of counties with too few to report alone are combined: {}.",
            elsewhere_in_words(summary)
        )
    })
}

/// Compares the counties that have figures in both weeks, and no others: a sum over different
/// counties would rise and fall with who was visited.
fn week_before(now: &Summary, before: &Summary) -> Option<String> {
    let earlier = |county: &Shown| {
        let mut found = before.shown.iter();
        found.find(|other| other.row.place == county.row.place)
    };
    let pairs: Vec<_> = now
        .shown
        .iter()
        .filter_map(|county| Some((county, earlier(county)?)))
        .collect();
    match &*pairs {
        [] => None,
        [(county, earlier)] => Some(format!(
            "Only {} has figures in both this week and last week: {} now, {} then.",
            county.name,
            fields_at_threshold_in_words(county.row),
            fields_at_threshold_in_words(earlier.row),
        )),
        _ => {
            let at = |place: &Shown| place.row.at_threshold[0] > 0;
            let then = pairs.iter().filter(|(_, earlier)| at(earlier)).count();
            let now = pairs.iter().filter(|(county, _)| at(county)).count();
            let had = |count: usize, one, several| match count {
                0 => format!("none {one}"),
                1 => format!("1 {one}"),
                _ => format!("{count} {several}"),
            };
            Some(format!(
                "Of the {} counties with figures in both weeks, {} fields at threshold last week; {} this week.",
                pairs.len(),
                had(then, "had", "had"),
                had(now, "has", "do"),
            ))
        }
    }
}

fn what_is_not_shown(summary: &Summary) -> Option<String> {
    let counties = |count| count_of(count, "county", "counties");
    let other_stage = match summary.other_stage {
        0 => None,
        some => Some(format!(
            "In {} all fields were at another crop stage.",
            counties(some)
        )),
    };
    let without = match summary.without_figures.len() {
        0 => None,
        1 => Some("1 county has no figures: it was not visited, or had too few fields to publish. No conclusion can be drawn there.".to_owned()),
        some => Some(format!(
            "{some} counties have no figures: they were not visited, or had too few fields to publish. No conclusion \
             can be drawn there."
        )),
    };
    let parts: Vec<String> = other_stage.into_iter().chain(without).collect();
    (!parts.is_empty()).then(|| parts.join(" "))
}

/// What the rows say and what is withheld, by the rule that they were made by.
pub(super) fn rule_in_words(rule: &Rule) -> String {
    let counts = match rule.level {
        Level::Survey => {
            "Of 3 or 4 fields, only whether any is at threshold is reported; all, and all but one, are reported as all \
             but one or more."
        }
        Level::Strict => {
            "Counts at threshold are reported as ranges: none, under a third, or a third or more (of 3 or 4 fields: none, \
             or 1 or more)."
        }
    };
    format!(
        "A county is reported with {} or more fields of {} or more farms, none with more than half of them (with {} or more \
         fields, if no visit of the season names a farm); smaller groups are combined by district or for the region. \
         {counts} A row is updated at most once, and only when enough late or corrected fields arrive to be shown as a \
         group; otherwise it gives the date through which visits are counted.",
        rule.min_fields, rule.min_farms, rule.min_fields_without_farms
    )
}
