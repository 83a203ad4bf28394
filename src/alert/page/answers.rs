//! The three answers at the top of the page: where, how sure, and what to do now. Each is short enough for the first screen of
//! a phone; what it rests on is said further down.

use jiff::civil::Date;

use super::row_words::{fields_in_words, median_in_words, percent_in_words, treatment_days};
use super::summary::{Shown, Summary};
use crate::alert::bulletin::Bulletin;
use crate::shared::passages::sentence_case;
use crate::shared::shown_days::days_in_words;
use crate::shared::shown_names::display_name;
use crate::shared::shown_numbers::{count_of, join_with_and};

/// Up to so many counties are named one by one; of more, these.
const NAMED_ALL_MAX: usize = 4;
const NAMED_FIRST: usize = 3;

/// What a reader acts on, in sentences.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Answers {
    /// Where the counts are at the level, as the map marks it.
    pub(crate) places: Vec<String>,
    /// What the figures rest on, and how far they reach.
    pub(crate) certainty: Vec<String>,
    /// What to scout, where and by when; when a treatment would be due.
    pub(crate) next: Vec<String>,
    /// Whom to ask; empty if the office does not say.
    pub(crate) ask: String,
}

/// The answers of a week.
pub(crate) fn answers(bulletin: &Bulletin, summary: &Summary) -> Answers {
    Answers {
        places: places(summary),
        certainty: certainty(bulletin, summary),
        next: next(bulletin, summary),
        ask: display_name(match &*bulletin.office.contact {
            "" => bulletin.contact,
            contact => contact,
        }),
    }
}

impl Answers {
    /// Heading and text of each, for a page without a layout.
    pub(super) fn titled(&self) -> [(&'static str, String); 3] {
        let ask = match self.ask.is_empty() {
            true => String::new(),
            false => format!(" Questions: {}.", self.ask),
        };
        [
            ("Where", self.places.join(" ")),
            ("How sure", self.certainty.join(" ")),
            ("What to do now", self.next.join(" ") + &ask),
        ]
    }
}

// ---- where ----

fn places(summary: &Summary) -> Vec<String> {
    let marked = marked(summary);
    let mut said = Vec::new();
    if !marked.is_empty() {
        said.push(format!(
            "{} {}: {}.",
            sentence_case(summary.words.several()),
            summary.words.at(),
            in_short(&marked, |place| format!(
                "{} {}",
                place.name,
                fields_in_words(place.row)
            ))
        ));
    } else if let Some(county) = summary.highest() {
        let median = median_in_words(county.row)
            .map(|class| format!(", median {class} × {}", summary.words.level()))
            .unwrap_or_default();
        said.push(format!("Highest in {}{median}.", county.name));
    } else if !summary.shown.is_empty() {
        said.push("Nothing found in the counties shown.".to_owned());
    } else {
        said.push("No county has figures of its own this week.".to_owned());
    }
    let elsewhere: Vec<String> = summary
        .elsewhere
        .iter()
        .filter(|place| place.row.at_threshold[0] > 0)
        .map(|place| format!("{} {}", fields_in_words(place.row), place.name))
        .collect();
    said.extend(join_with_and(&elsewhere).map(|elsewhere| {
        let at = match marked.is_empty() {
            true => format!(" {}", summary.words.at()),
            false => String::new(),
        };
        format!("Also{at}: {elsewhere}.")
    }));
    said
}

/// The counties with a field at the level, from the highest down.
fn marked<'a, 'b>(summary: &'b Summary<'a>) -> Vec<&'b Shown<'a>> {
    let mut marked: Vec<&Shown> = summary
        .shown
        .iter()
        .filter(|place| place.row.at_threshold[0] > 0)
        .collect();
    let rank = |place: &Shown| {
        let median = place.row.median.map_or(0.0, |class| class.middle());
        (
            median,
            place.row.share_interval().map_or(0.0, |[low, _]| low),
        )
    };
    marked.sort_by(|one, other| {
        rank(other)
            .partial_cmp(&rank(one))
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    marked
}

/// The places in a list that stays short.
fn in_short(places: &[&Shown], said: impl Fn(&Shown) -> String) -> String {
    let named = match places.len() {
        all if all <= NAMED_ALL_MAX => all,
        _ => NAMED_FIRST,
    };
    let mut parts: Vec<String> = places[..named].iter().map(|place| said(place)).collect();
    if places.len() > named {
        parts.push(format!("{} more counties", places.len() - named));
    }
    join_with_and(&parts).unwrap_or_default()
}

// ---- how sure ----

fn certainty(bulletin: &Bulletin, summary: &Summary) -> Vec<String> {
    let words = summary.words;
    let counties = bulletin.region.counties().len() + bulletin.region.without_shape().len();
    let fields = count_of(
        Summary::fields(&summary.shown) as usize,
        words.one(),
        words.several(),
    );
    let shown = summary.shown.len();
    let mut said = match shown {
        0 => vec![format!(
            "None of {} has enough {} for figures of its own: nothing can be said of single counties.",
            count_of(counties, "county", "counties"),
            words.several()
        )],
        _ => vec![format!(
            "{fields} in {shown} of {}, not a random sample{}.",
            count_of(counties, "county", "counties"),
            match counties > shown {
                true => "; no conclusion for the others",
                false => "",
            }
        )],
    };
    let example = summary.highest().or_else(|| summary.least_visited());
    said.extend(example.map(|county| {
        format!(
            "In {}, {} could mean {} (95% confidence interval).",
            county.name,
            fields_in_words(county.row),
            percent_in_words(county.row, "–"),
        )
    }));
    said.extend(bulletin.arrived.map(str::to_owned));
    said
}

// ---- what to do now ----

fn next(bulletin: &Bulletin, summary: &Summary) -> Vec<String> {
    let protocol = bulletin.protocol;
    let mut said = vec![scouting(bulletin, summary)];
    if let (Some(stage), Some([opens, closes])) = (&protocol.treatment_stage, due(bulletin)) {
        said.push(format!(
            "Fields shown reach {stage} in the weeks of {}: consider treatment then only if your own field is at or above {}.",
            days_in_words(opens, closes),
            protocol.level_of_one()
        ));
    } else if protocol.next_step.is_none() {
        said.push(format!(
            "Consider treatment only if your own field is at or above {}.",
            protocol.level_of_one()
        ));
    }
    said
}

/// Which fields to scout, at which stages, and by when.
fn scouting(bulletin: &Bulletin, summary: &Summary) -> String {
    let protocol = bulletin.protocol;
    let first = match marked(summary) {
        marked if marked.is_empty() => String::new(),
        marked if marked.len() > NAMED_FIRST => ", first in these counties".to_owned(),
        marked => format!(
            ", first in {}",
            in_short(&marked, |place| place.name.clone())
        ),
    };
    if let Some(step) = &protocol.next_step {
        return format!("{} in your own fields{first}.", sentence_case(step));
    }
    // What is ahead of the week has a day by which counts are of use; what has begun is urgent.
    let last_day = bulletin.week().map(|week| bulletin.weeks.last_day(week));
    let when = match (due(bulletin), last_day) {
        (Some([opens, _]), Ok(last_day)) if opens > last_day => {
            format!(" before {}", opens.strftime("%B\u{a0}%-d"))
        }
        (Some(_), _) => " now".to_owned(),
        (None, _) => String::new(),
    };
    format!(
        "Scout your own {} fields at {}{when}{first}.",
        protocol.crop, protocol.stage_window
    )
}

/// First and last day of the weeks in which the fields shown are expected at the treatment stage.
fn due(bulletin: &Bulletin) -> Option<[Date; 2]> {
    let days = || bulletin.rows.iter().filter_map(treatment_days);
    let opens = days().map(|[opens, _]| opens).min()?;
    let closes = days().map(|[_, closes]| closes).max()?;
    Some([opens, closes])
}
