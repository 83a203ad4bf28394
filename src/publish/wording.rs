//! Words and numbers for readers: what a week's figures say, only as strongly as they allow.
//!
//! The one place that rounds a number for display and that makes a name safe to show. Counts
//! counties and adds up fields that are shown side by side; computes no statistic, makes no HTML.

use std::collections::{HashMap, HashSet};

use jiff::civil::Date;

use crate::publish::alert_page::Bulletin;
use crate::publish::assumed::what_is_assumed;
use crate::publish::unseen::is_unseen;
use crate::region::Region;
use crate::rollup::county_week::{Cell, CountyWeek, Figures, days_of_week};

/// Below this a county's figures are called few. From 12 fields on, the 95 % Wilson interval of a
/// share of one half is narrower than half the scale (0.254 to 0.746; computed).
const FEW_FIELDS: i64 = 12;

/// The ends of an interval at 0 or 1 come out a rounding error beside them.
const NOISE: f64 = 1e-12;

/// How a number is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Two decimals, none from 100 on.
    Pressure,
    /// A share as a whole per cent, without the sign.
    Percent,
}

/// The one rounding for display. A value never crosses a mark that matters by being rounded: one
/// below threshold shows as `<1.00`, one above 0 never as 0, one below all never as 100.
pub fn display_number(value: f64, form: Form) -> String {
    match form {
        Form::Percent if (NOISE..0.005).contains(&value) => "<1".to_owned(),
        Form::Percent if (0.995..1.0 - NOISE).contains(&value) => ">99".to_owned(),
        Form::Percent => format!("{:.0}", (value * 100.0).clamp(0.0, 100.0)),
        Form::Pressure if value > 0.0 && value < 0.005 => "<0.01".to_owned(),
        Form::Pressure if (0.995..1.0).contains(&value) => "<1.00".to_owned(),
        Form::Pressure if value >= 100.0 => format!("{value:.0}"),
        Form::Pressure => format!("{value:.2}"),
    }
}

/// The share at threshold: `57 %`, with a space that does not break.
pub fn share_in_words(figures: &Figures) -> String {
    let share = display_number(figures.share_at_threshold, Form::Percent);
    format!("{share}\u{a0}%")
}

/// The 95 % interval of the share, `between` its ends: `25–84 %`, `25 to 84 %`.
pub fn interval_in_words(figures: &Figures, between: &str) -> String {
    let low = display_number(figures.share_low, Form::Percent);
    let high = display_number(figures.share_high, Form::Percent);
    format!("{low}{between}{high}\u{a0}%")
}

/// A name that cannot disturb the text around it: without control characters and marks of writing
/// direction, which show as nothing, and, if it may run from right to left, set apart from what
/// stands beside it (Unicode Standard Annex 9, isolates).
pub fn display_name(name: &str) -> String {
    let name: String = name.chars().filter(|&c| !is_unseen(c)).collect();
    match name.chars().any(|c| c >= '\u{590}') {
        true => format!("\u{2068}{name}\u{2069}"),
        false => name,
    }
}

/// The counties' names as shown, by id; where two counties have one name, with the id behind it.
pub fn display_names(region: &Region) -> HashMap<&str, String> {
    let counties = || region.counties().iter().chain(region.without_shape());
    let mut seen = HashSet::new();
    let twice: HashSet<&str> = counties()
        .filter(|county| !seen.insert(&*county.name))
        .map(|county| &*county.name)
        .collect();
    counties()
        .map(|county| {
            let name = display_name(&county.name);
            let shown = match twice.contains(&*county.name) {
                true => format!("{name} ({})", display_name(&county.id)),
                false => name,
            };
            (&*county.id, shown)
        })
        .collect()
}

/// A week in words: `week 30 of 2026, 20–26 July 2026`; `None` if there is no such week.
pub fn week_in_words(iso_week: &str) -> Option<String> {
    let (monday, sunday) = days_of_week(iso_week)?;
    let (year, week) = iso_week.split_once("-W")?;
    let week = week.trim_start_matches('0');
    Some(format!(
        "week {week} of {year}, {}",
        days_in_words(monday, sunday)
    ))
}

/// Days from one to another: `20–26 July 2026`.
pub(super) fn days_in_words(from: Date, to: Date) -> String {
    let end = format!("{} {} {}", to.day(), month(to), to.year());
    if from.year() != to.year() {
        format!("{} {} {} – {end}", from.day(), month(from), from.year())
    } else if from.month() != to.month() {
        format!("{} {} – {end}", from.day(), month(from))
    } else {
        format!("{}–{end}", from.day())
    }
}

fn month(date: Date) -> &'static str {
    [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ][usize::from(date.month().unsigned_abs()) - 1]
}

/// A count with its noun: `1 county`, `2 counties`, `0 counties`.
pub fn count_of(count: usize, one: &str, several: &str) -> String {
    let noun = if count == 1 { one } else { several };
    format!("{count} {noun}")
}

/// The counties of one week under one protocol, sorted by what can be said of them.
pub struct Summary<'a> {
    /// Counties with figures, by id.
    pub shown: Vec<Shown<'a>>,
    /// How many have too few fields to show.
    pub suppressed: usize,
    /// How many have only fields outside the stage window.
    pub outside_stage: usize,
    /// Names of the counties without a visit, by id.
    pub without_visits: Vec<String>,
    names: HashMap<&'a str, String>,
}

/// A county with figures.
#[derive(Debug, Clone)]
pub struct Shown<'a> {
    /// Identity of the county.
    pub county_id: &'a str,
    /// Its name as shown.
    pub name: String,
    /// Its figures.
    pub figures: Figures,
}

impl<'a> Summary<'a> {
    /// Sorts the rows of one week under one protocol, of counties of the region.
    pub fn of(region: &'a Region, rows: &'a [CountyWeek]) -> Summary<'a> {
        let names = display_names(region);
        let visited: HashSet<&str> = rows.iter().map(|row| &*row.county_id).collect();
        let mut shown: Vec<_> = rows
            .iter()
            .filter_map(|row| {
                Some(Shown {
                    county_id: &row.county_id,
                    name: names.get(&*row.county_id)?.clone(),
                    figures: row.figures()?,
                })
            })
            .collect();
        shown.sort_by_key(|county| county.county_id);
        let count = |cell| rows.iter().filter(|row| row.cell() == cell).count();
        let counties = region.counties().iter();
        Summary {
            shown,
            suppressed: count(Cell::Suppressed),
            outside_stage: count(Cell::OutsideStage),
            without_visits: counties
                .filter(|county| !visited.contains(&*county.id))
                .map(|county| names[&*county.id].clone())
                .collect(),
            names,
        }
    }

    /// The name of a county as shown; its id if the region does not have it.
    pub fn name(&self, county_id: &str) -> String {
        let name = self.names.get(county_id).cloned();
        name.unwrap_or_else(|| display_name(county_id))
    }

    fn at_threshold(&self) -> usize {
        let counties = self.shown.iter();
        counties
            .filter(|c| c.figures.fields_at_threshold > 0)
            .count()
    }

    fn fields(&self, of: fn(&Figures) -> i64) -> usize {
        let sum: i64 = self.shown.iter().map(|county| of(&county.figures)).sum();
        usize::try_from(sum).unwrap_or_default()
    }

    /// The county with the highest median, of several the one with the highest field; `None` if
    /// nothing was found anywhere.
    fn highest(&self) -> Option<&Shown<'a>> {
        let found = self.shown.iter().filter(|c| c.figures.max_pressure > 0.0);
        let rank = |county: &Shown| (county.figures.median_pressure, county.figures.max_pressure);
        found.reduce(|best, next| if rank(next) > rank(best) { next } else { best })
    }

    /// The county whose figures rest on the fewest fields.
    fn least_visited(&self) -> Option<&Shown<'a>> {
        self.shown
            .iter()
            .min_by_key(|county| county.figures.fields_visited)
    }
}

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

/// `a`, `a and b`, `a, b and c`.
pub fn join_with_and(parts: &[String]) -> Option<String> {
    match parts {
        [] => None,
        [one] => Some(one.clone()),
        [first @ .., last] => Some(format!("{} and {last}", first.join(", "))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounding_never_carries_a_number_over_a_mark_that_matters() {
        let pressure = |value| display_number(value, Form::Pressure);
        assert_eq!(pressure(0.0), "0.00");
        assert_eq!(pressure(1e-9), "<0.01");
        assert_eq!(pressure(0.994_9), "0.99");
        assert_eq!(pressure(0.995), "<1.00");
        assert_eq!(pressure(0.999_999_999_9), "<1.00");
        assert_eq!(pressure(1.0), "1.00");
        assert_eq!(pressure(99.994), "99.99");
        assert_eq!(pressure(1234.5), "1234");
        let percent = |value| display_number(value, Form::Percent);
        assert_eq!(percent(0.0), "0");
        assert_eq!(percent(1e-17), "0");
        assert_eq!(percent(0.004), "<1");
        assert_eq!(percent(0.5714), "57");
        assert_eq!(percent(0.997), ">99");
        assert_eq!(percent(1.0), "100");
        // A bound of an interval may be off by a rounding error.
        assert_eq!(percent(-1e-17), "0");
        assert_eq!(percent(1.000_000_000_000_000_2), "100");
    }

    #[test]
    fn a_week_is_said_with_its_days_across_months_and_years() {
        let says = |week| week_in_words(week).unwrap_or_default();
        assert_eq!(says("2026-W30"), "week 30 of 2026, 20–26 July 2026");
        assert_eq!(says("2026-W31"), "week 31 of 2026, 27 July – 2 August 2026");
        assert_eq!(
            says("2026-W53"),
            "week 53 of 2026, 28 December 2026 – 3 January 2027"
        );
        assert_eq!(
            says("2025-W01"),
            "week 1 of 2025, 30 December 2024 – 5 January 2025"
        );
        for none in ["2025-W53", "2026-W00", "2026-30", "2026-W3", "", "+026-W30"] {
            assert_eq!(week_in_words(none), None, "{none}");
        }
    }

    #[test]
    fn a_name_loses_what_is_not_seen_and_is_set_apart_if_it_may_run_the_other_way() {
        assert_eq!(display_name("O'Brien \u{202e}<b>\u{0}"), "O'Brien <b>");
        assert_eq!(
            display_name("\u{2069}\u{5d0}\u{200f}"),
            "\u{2068}\u{5d0}\u{2069}"
        );
    }

    #[test]
    fn a_list_is_joined_as_people_write_it() {
        let join = |parts: &[&str]| {
            let parts: Vec<String> = parts.iter().map(|part| part.to_string()).collect();
            join_with_and(&parts)
        };
        assert_eq!(join(&[]), None);
        assert_eq!(join(&["a"]).as_deref(), Some("a"));
        assert_eq!(join(&["a", "b"]).as_deref(), Some("a and b"));
        assert_eq!(join(&["a", "b", "c"]).as_deref(), Some("a, b and c"));
    }
}
