//! What a week's public rows say in plain words, only as strongly as they allow. Makes no HTML.

use super::assumed::what_is_assumed;
use super::districts::headline_of_groups;
use super::early_stages::early_headline;
use super::row_words::{
    fields_at_threshold_in_words, fields_in_words, median_in_words, percent_in_words,
};
use super::summary::{Shown, Summary};
use crate::alert::bulletin::Bulletin;
use crate::shared::count_words::CountWords;
use crate::shared::passages::sentence_case;
use crate::shared::shown_numbers::{count_of, join_with_and};
use disclosure::rule::{Level, Rule};

/// Below this a county's figures are called few. From 12 fields on, the 95% Wilson confidence interval of a
/// share of one half is narrower than half the scale (0.254 to 0.746; computed).
const FEW_FIELDS: u32 = 12;
/// Where a county has a row: `with enough sampled fields to report`.
fn enough(words: CountWords) -> String {
    let sampled = match words {
        CountWords::Risk => "",
        CountWords::Threshold | CountWords::Either => "sampled ",
    };
    format!("with enough {sampled}{} to report", words.several())
}

/// The headline of an alert: what its counties say, or that no field is at the stages of the count yet.
pub(crate) fn headline_of(bulletin: &Bulletin) -> String {
    let words = bulletin.protocol.words();
    early_headline(bulletin)
        .unwrap_or_else(|| headline(&Summary::of(bulletin.region, bulletin.rows, words)))
}

/// What a county agent must grasp in ten seconds.
pub(crate) fn headline(summary: &Summary) -> String {
    let (shown, at_threshold) = (summary.shown.len(), summary.at_threshold());
    let (one, at) = (summary.words.one(), summary.words.at());
    let several = sentence_case(summary.words.several());
    let enough = enough(summary.words);
    match (&*summary.shown, at_threshold) {
        ([], _) => headline_without_counties(summary),
        (_, 0) if summary.nothing_found() => match shown {
            1 => format!("Nothing found in {}", only(summary)),
            2 => format!("Nothing found in either of the 2 counties {enough}"),
            _ => format!("Nothing found in any of the {shown} counties {enough}"),
        },
        ([_], 0) => format!("No {one} {at} in {}", only(summary)),
        (_, 0) => format!("No {one} {at} in the {shown} counties {enough}"),
        ([county], _) => match county.row.at_threshold {
            [1, 1] => format!("One {one} {at} in {}", only(summary)),
            [_, _] => format!("{several} {at} in {}", only(summary)),
        },
        (_, all) if all == shown && shown == 2 => {
            format!("{several} {at} in both counties {enough}")
        }
        (_, all) if all == shown => format!("{several} {at} in all {shown} counties {enough}"),
        _ => format!("{several} {at} in {at_threshold} of the {shown} counties {enough}"),
    }
}

fn only(summary: &Summary) -> String {
    let name = &summary.shown[0].name;
    format!("{name}, the only county {}", enough(summary.words))
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
    let words = summary.words;
    let (one, at) = (words.one(), words.at());
    if let Some(headline) = headline_of_groups(summary) {
        return headline;
    }
    match (join_with_and(&places), summary.elsewhere.as_slice()) {
        (Some(places), _) => format!("{} {at}: {places}", sentence_case(words.several())),
        (None, [_, ..]) => {
            let all = fields(Summary::fields(&summary.elsewhere), words);
            format!("No {one} {at} among {all} in counties with too few to report alone")
        }
        (None, []) if summary.other_stage > 0 => {
            format!("Every {one} reported was at a crop stage at which this count is not valid")
        }
        (None, []) => format!(
            "No county has {} this week",
            enough(words).trim_start_matches("with ")
        ),
    }
}

/// The rows elsewhere, one after the other: `none of 5 elsewhere in North`.
fn elsewhere_in_words(summary: &Summary) -> String {
    let places = summary.elsewhere.iter();
    let places: Vec<String> = places
        .map(|place| {
            let fields = fields_at_threshold_in_words(place.row, summary.words);
            format!("{fields} {}", place.name)
        })
        .collect();
    places.join("; ")
}

fn fields(count: u32, words: CountWords) -> String {
    count_of(count as usize, words.one(), words.several())
}

/// The week in one paragraph of plain words.
pub(crate) fn paragraph(bulletin: &Bulletin) -> String {
    let words = bulletin.protocol.words();
    let summary = Summary::of(bulletin.region, bulletin.rows, words);
    let mut sentences = vec![coverage(&summary, bulletin)];
    sentences.extend(where_it_is_highest(&summary));
    sentences.extend(how_far_to_trust(&summary));
    sentences.extend(what_is_elsewhere(&summary));
    sentences.extend(what_is_assumed(bulletin.rows));
    if let Some(previous) = bulletin.previous {
        sentences.extend(week_before(
            &summary,
            &Summary::of(bulletin.region, previous, words),
        ));
    }
    sentences.extend(what_is_not_shown(&summary));
    sentences.join(" ")
}

fn coverage(summary: &Summary, bulletin: &Bulletin) -> String {
    let window = &bulletin.protocol.stage_window;
    let enough = enough(summary.words);
    let place = match &*summary.shown {
        [] => {
            let sampled = enough.trim_start_matches("with ").replace(" to report", "");
            return format!("No county has {sampled} for figures of its own.");
        }
        [county] => format!("In {}, the only county {enough}", county.name),
        [_, _] => format!("In the 2 counties {enough}"),
        counties => format!("In the {} counties {enough}", counties.len()),
    };
    let visited = Summary::fields(&summary.shown);
    let its = bulletin.protocol.level_of_one();
    let their = bulletin.protocol.level_of_several();
    let found = match Summary::fields_at_threshold(&summary.shown) {
        [_, 0] => format!("none of them was at or above {its}"),
        [1, 1] => format!("1 of them was at or above {its}"),
        [least, most] if least == most => {
            format!("{least} of them were at or above {their}")
        }
        [least, most] => {
            format!("{least} to {most} of them were at or above {their}")
        }
    };
    let fields = fields(visited, summary.words);
    format!("{place}, scouts sampled {fields} at {window}; {found}.")
}

/// How many of the region's counties have figures, and how many fields they are based on.
pub(super) fn coverage_of_counties(summary: &Summary) -> String {
    let words = summary.words;
    let (shown, without) = (summary.shown.len(), summary.without_figures.len());
    let all = shown + summary.other_stage + without;
    let mut parts = vec![format!(
        "{shown} of {} with figures",
        count_of(all, "county", "counties")
    )];
    if summary.other_stage > 0 {
        parts.push(format!(
            "{} with all {} at another crop stage",
            summary.other_stage,
            words.several()
        ));
    }
    if without > 0 {
        parts.push(format!(
            "{without} not visited or with too few {} to publish",
            words.several()
        ));
    }
    let here = fields(Summary::fields(&summary.shown), words);
    let elsewhere = match Summary::fields(&summary.elsewhere) {
        0 => String::new(),
        some => format!(", and {} of other counties combined", fields(some, words)),
    };
    format!(
        "{}. Figures are based on {here} in the counties shown{elsewhere}.",
        parts.join("; ")
    )
}

fn where_it_is_highest(summary: &Summary) -> Option<String> {
    let words = summary.words;
    let Some(county) = summary.highest() else {
        let county = summary.least_visited()?;
        let [_, reach] = county.row.share_interval()?;
        let reach = (reach * 100.0).round();
        let (name, fields) = (&county.name, fields(county.row.fields_visited, words));
        let (one, several, at) = (words.one(), words.several(), words.at());
        return Some(format!(
            "No {one} {at} does not prove that there is none: with {fields} sampled in {name}, up to {reach}% of \
             {several} there may be {at} (95% confidence interval)."
        ));
    };
    let name = &county.name;
    let fields = fields_at_threshold_in_words(county.row, words);
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
            fields(visited, summary.words)
        )),
        (true, false) => Some(format!(
            "That is based on only {}: {reading}.",
            fields(visited, summary.words)
        )),
        (false, true) => Some(format!("The interval is wide: {reading}.")),
        (false, false) => None,
    }
}

/// The rows of fields whose counties have too few of their own.
fn what_is_elsewhere(summary: &Summary) -> Option<String> {
    (!summary.elsewhere.is_empty()).then(|| {
        format!(
            "{} of counties with too few to report alone are combined: {}.",
            sentence_case(summary.words.several()),
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
            fields_at_threshold_in_words(county.row, now.words),
            fields_at_threshold_in_words(earlier.row, now.words),
        )),
        _ => {
            let at = |place: &Shown| place.row.at_threshold[0] > 0;
            let then = pairs.iter().filter(|(_, earlier)| at(earlier)).count();
            let words = now.words;
            let now = pairs.iter().filter(|(county, _)| at(county)).count();
            let had = |count: usize, one, several| match count {
                0 => format!("none {one}"),
                1 => format!("1 {one}"),
                _ => format!("{count} {several}"),
            };
            Some(format!(
                "Of the {} counties with figures in both weeks, {} {} {} last week; {} this week.",
                pairs.len(),
                had(then, "had", "had"),
                words.several(),
                words.at(),
                had(now, "has", "do"),
            ))
        }
    }
}

fn what_is_not_shown(summary: &Summary) -> Option<String> {
    let counties = |count| count_of(count, "county", "counties");
    let several = summary.words.several();
    let other_stage = match summary.other_stage {
        0 => None,
        some => Some(format!(
            "In {} all {several} were at another crop stage.",
            counties(some)
        )),
    };
    let without = match summary.without_figures.len() {
        0 => None,
        1 => Some(format!(
            "1 county has no figures: it was not visited, or had too few {several} to publish. No conclusion can be drawn \
             there."
        )),
        some => Some(format!(
            "{some} counties have no figures: they were not visited, or had too few {several} to publish. No conclusion \
             can be drawn there."
        )),
    };
    let parts: Vec<String> = other_stage.into_iter().chain(without).collect();
    (!parts.is_empty()).then(|| parts.join(" "))
}

/// What the rows say and what is withheld, by the rule that they were made by.
pub(super) fn rule_in_words(rule: &Rule, words: CountWords) -> String {
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
    words.said(&format!(
        "A county is reported with {} or more fields of {} or more farms, none with more than half of them (with {} or more \
         fields, if no visit of the season names a farm); smaller groups are combined by district or for the region. \
         {counts} A row is updated at most once, and only when enough late or corrected fields arrive to be shown as a \
         group; otherwise it gives the date through which visits are counted.",
        rule.min_fields, rule.min_farms, rule.min_fields_without_farms
    ))
}
