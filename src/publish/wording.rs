//! What a week's figures say in plain words, only as strongly as they allow. Makes no HTML.

use crate::publish::alert_page::Bulletin;
use crate::publish::assumed::what_is_assumed;
use crate::publish::shown_numbers::{
    Form, count_of, display_number, interval_in_words, join_with_and, share_in_words,
};
use crate::publish::summary::{Shown, Summary};
use crate::rollup::county_week::Figures;

/// Below this a county's figures are called few. From 12 fields on, the 95 % Wilson interval of a
/// share of one half is narrower than half the scale (0.254 to 0.746; computed).
const FEW_FIELDS: i64 = 12;

/// What a county agent must grasp in ten seconds.
pub fn headline(summary: &Summary) -> String {
    let (shown, at_threshold) = (summary.shown.len(), summary.at_threshold());
    let enough = "with enough fields";
    match (&*summary.shown, at_threshold) {
        ([], _) => headline_without_figures(summary),
        (_, 0) if summary.highest().is_none() => match shown {
            1 => format!("Nothing found in {}", only(summary)),
            2 => format!("Nothing found in either of the 2 counties {enough}"),
            _ => format!("Nothing found in any of the {shown} counties {enough}"),
        },
        ([_], 0) => format!("No field at threshold in {}", only(summary)),
        (_, 0) => format!("No field at threshold in the {shown} counties {enough}"),
        ([county], _) => match county.figures.fields_at_threshold {
            1 => format!("One field at threshold in {}", only(summary)),
            _ => format!("Fields at threshold in {}", only(summary)),
        },
        (_, all) if all == shown && shown == 2 => {
            format!("Fields at threshold in both counties {enough}")
        }
        (_, all) if all == shown => format!("Fields at threshold in all {shown} counties {enough}"),
        _ => format!("Fields at threshold in {at_threshold} of the {shown} counties {enough}"),
    }
}

fn only(summary: &Summary) -> String {
    let name = &summary.shown[0].name;
    format!("{name}, the only county with enough fields")
}

fn headline_without_figures(summary: &Summary) -> String {
    match (summary.suppressed, summary.outside_stage) {
        (0, 0) => "No field visits were reported this week",
        (0, _) => "Every field visited was outside the stages in which this count has a meaning",
        (_, 0) => "Too few fields in any one county to show figures",
        _ => "No county has enough fields at the right stage to show figures",
    }
    .to_owned()
}

/// Short lines under the headline, each with a heading: where it is highest, and how sure.
pub fn key_facts(summary: &Summary) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    if let Some(county) = summary.highest() {
        let median = display_number(county.figures.median_pressure, Form::Pressure);
        let share = fields_at_threshold(&county.figures);
        let name = &county.name;
        facts.push((
            "Highest",
            format!("{name}: median pressure {median}, {share}"),
        ));
    }
    if let Some(county) = summary.highest().or_else(|| summary.least_visited()) {
        let fields = fields(county.figures.fields_visited);
        let interval = interval_in_words(&county.figures, "\u{a0}to\u{a0}");
        let place = &county.name;
        facts.push((
            "How sure",
            format!("{fields} visited in {place}; 95\u{a0}% interval of the share at threshold {interval}"),
        ));
        let all = fields_in_all(summary);
        let counties = count_of(summary.shown.len(), "county", "counties");
        facts.push(("Rests on", format!("{all} in {counties}")));
    }
    facts
}

fn fields_in_all(summary: &Summary) -> String {
    let visited = summary.fields(|figures| figures.fields_visited);
    count_of(visited, "field", "fields")
}

fn fields(count: i64) -> String {
    count_of(
        usize::try_from(count).unwrap_or_default(),
        "field",
        "fields",
    )
}

fn fields_at_threshold(figures: &Figures) -> String {
    let at = figures.fields_at_threshold;
    format!("{at} of {} at threshold", fields(figures.fields_visited))
}

/// The week in one paragraph of plain words.
pub fn paragraph(bulletin: &Bulletin) -> String {
    let summary = Summary::of(bulletin.region, bulletin.rows);
    let mut sentences = vec![coverage(&summary, bulletin)];
    sentences.extend(where_it_is_highest(&summary));
    sentences.extend(how_far_to_trust(&summary));
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
        [] if bulletin.rows.is_empty() => {
            return "No visit under this protocol was reported for the week; that says nothing \
                    about how many insects there are."
                .to_owned();
        }
        [] => return "This week's visits give no figure that can be shown.".to_owned(),
        [county] => format!(
            "In {}, the only county with enough fields to show",
            county.name
        ),
        [_, _] => "In the 2 counties with enough fields to show".to_owned(),
        counties => format!(
            "In the {} counties with enough fields to show",
            counties.len()
        ),
    };
    let visited = summary.fields(|figures| figures.fields_visited);
    let at_threshold = summary.fields(|figures| figures.fields_at_threshold);
    let found = match (visited, at_threshold) {
        (1, 0) => format!("it was below its own {threshold}"),
        (1, _) => format!("it was at or above its own {threshold}"),
        (_, 0) => format!("none of them was at or above its own {threshold}"),
        (_, 1) => format!("1 of them was at or above its own {threshold}"),
        (2, 2) => format!("both were at or above their own {threshold}"),
        (all, at) if all == at => format!("all of them were at or above their own {threshold}"),
        (_, at) => format!("{at} of them were at or above their own {threshold}"),
    };
    let fields = fields_in_all(summary);
    format!("{place}, scouts visited {fields} in the stage window ({window}); {found}.")
}

/// How many of the region's counties have figures, and what became of the others.
pub(super) fn coverage_of_counties(summary: &Summary) -> String {
    let (shown, without) = (summary.shown.len(), summary.without_visits.len());
    let all = shown + summary.suppressed + summary.outside_stage + without;
    let mut parts = vec![format!(
        "{shown} of {} with figures",
        count_of(all, "county", "counties")
    )];
    let others = [
        (summary.suppressed, "with too few fields to show"),
        (
            summary.outside_stage,
            "with fields outside the stage window only",
        ),
        (without, "without visits"),
    ];
    let others = others.into_iter().filter(|(count, _)| *count > 0);
    parts.extend(others.map(|(count, what)| format!("{count} {what}")));
    let fields = fields_in_all(summary);
    format!(
        "{}; {fields} in all in the counties shown.",
        parts.join(", ")
    )
}

fn where_it_is_highest(summary: &Summary) -> Option<String> {
    let Some(county) = summary.highest() else {
        let county = summary.least_visited()?;
        let reach = display_number(county.figures.share_high, Form::Percent);
        let (name, fields) = (&county.name, fields(county.figures.fields_visited));
        return Some(format!(
            "Nothing was found, which does not prove that there is nothing: with {fields} visited \
             in {name}, the 95\u{a0}% interval of the share at threshold still reaches {reach}\u{a0}%."
        ));
    };
    let figures = &county.figures;
    let name = &county.name;
    let median = display_number(figures.median_pressure, Form::Pressure);
    let greatest = display_number(figures.max_pressure, Form::Pressure);
    let share = share_in_words(figures);
    let interval = interval_in_words(figures, " to ");
    let start = match (figures.median_pressure == 0.0, summary.shown.len()) {
        (true, 1) => {
            format!("At least half of the fields had none; the highest stood at {greatest}")
        }
        (true, _) => format!(
            "In every county at least half of the fields had none; the highest of all was in \
             {name}, at {greatest}"
        ),
        (false, 1) => {
            format!("The median pressure was {median}, and the highest field stood at {greatest}")
        }
        (false, _) => format!("Pressure was highest in {name}, with a median of {median}"),
    };
    let at = fields_at_threshold(figures);
    Some(format!(
        "{start}: {at}, a share of {share} with a 95\u{a0}% interval of {interval}."
    ))
}

fn how_far_to_trust(summary: &Summary) -> Option<String> {
    let county = summary.highest()?;
    let visited = county.figures.fields_visited;
    let wide = county.figures.share_high - county.figures.share_low > 0.5;
    let reading = "a reason to scout, not a measure of the county";
    match (visited < FEW_FIELDS, wide) {
        (true, true) => Some(format!(
            "That rests on {} only, and the interval is wide: {reading}.",
            fields(visited)
        )),
        (true, false) => Some(format!(
            "That rests on {} only: {reading}.",
            fields(visited)
        )),
        (false, true) => Some(format!("The interval is wide: {reading}.")),
        (false, false) => None,
    }
}

/// Compares the counties that have figures in both weeks, and no others: a sum over different
/// counties would rise and fall with who was visited.
fn week_before(now: &Summary, before: &Summary) -> Option<String> {
    let earlier = |county: &Shown| {
        let mut found = before.shown.iter();
        found.find(|other| other.county_id == county.county_id)
    };
    let pairs: Vec<_> = now
        .shown
        .iter()
        .filter_map(|county| Some((county, &earlier(county)?.figures)))
        .collect();
    match &*pairs {
        [] => None,
        [(county, earlier)] => Some(format!(
            "Only {} has figures in both this week and the week before: {} now, {} then.",
            county.name,
            fields_at_threshold(&county.figures),
            fields_at_threshold(earlier),
        )),
        _ => {
            let at = |figures: &Figures| figures.fields_at_threshold > 0;
            let then = pairs.iter().filter(|(_, earlier)| at(earlier)).count();
            let now = pairs
                .iter()
                .filter(|(county, _)| at(&county.figures))
                .count();
            let had = |count: usize, one, several| match count {
                0 => format!("none {one}"),
                1 => format!("1 {one}"),
                _ => format!("{count} {several}"),
            };
            Some(format!(
                "Of the {} counties with figures in both this week and the week before, {} fields \
                 at threshold then and {} now.",
                pairs.len(),
                had(then, "had", "had"),
                had(now, "has", "have"),
            ))
        }
    }
}

fn what_is_not_shown(summary: &Summary) -> Option<String> {
    let counties = |count| count_of(count, "county", "counties");
    let parts: Vec<String> = [
        (summary.suppressed, "had too few fields to show"),
        (
            summary.outside_stage,
            "had only fields outside the stage window",
        ),
        (summary.without_visits.len(), "had no visits"),
    ]
    .into_iter()
    .filter(|(count, _)| *count > 0)
    .map(|(count, what)| format!("{} {what}", counties(count)))
    .collect();
    let not_shown = summary.suppressed + summary.outside_stage + summary.without_visits.len();
    let there = if not_shown == 1 {
        "that county"
    } else {
        "those counties"
    };
    let list = join_with_and(&parts)?;
    Some(format!(
        "{list}; about pressure in {there} this page says nothing."
    ))
}
