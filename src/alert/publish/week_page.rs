//! One page for several pests, of a week or the newest of each: for each pest the finding, how sure it is, a small map
//! and a link to its alert.

use askama::Template;

use crate::alert::pest_line::PestLine;
use crate::figures::map::small_map::SmallMaps;
use crate::shared::cautions::{Caution, Group, IN_ONE_SENTENCE, standing_cautions};
use crate::shared::count_words::CountWords;
use crate::shared::page::swatch;
use crate::shared::shown_names::display_name;
use crate::shared::unseen::{plain_text, seen_text};
use scouting::failure::{Failure, Kind};
use scouting::region::Region;
use store::alerts::issued_alert::Change;

/// What became of an alert.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Standing {
    /// It is not issued.
    Draft,
    /// It was issued under this number, perhaps in the place of another.
    Issued(i64, Option<Change>),
    /// It was withdrawn, and why.
    Withdrawn(i64, String),
}

impl Standing {
    /// `draft`, `alert 3`, `alert 3, an update`.
    fn in_words(&self) -> String {
        match self {
            Standing::Draft => "draft".to_owned(),
            Standing::Issued(number, None) => format!("alert {number}"),
            Standing::Issued(number, Some(change)) => {
                format!("alert {number}, {}", change.a_word())
            }
            Standing::Withdrawn(number, reason) => format!("alert {number}, withdrawn: {reason}"),
        }
    }
}

/// A pest of the page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct WeekEntry {
    /// Title of its protocol.
    pub title: String,
    /// What became of its alert.
    pub standing: Standing,
    /// What its rows say; `None` of a withdrawn alert, and of a draft of another run.
    pub line: Option<PestLine>,
    /// Where its page is, seen from this one.
    pub page: String,
}

/// What the page is made from.
pub(crate) struct WeekPage<'a> {
    /// The week in words; `None` of the newest alerts of all pests, whose titles have their weeks.
    pub week: Option<String>,
    pub region: &'a Region,
    pub contact: &'a str,
    pub maps: &'a SmallMaps,
    /// Where the feed is, seen from this page; `None` where there is none.
    pub feed: Option<&'a str>,
    pub entries: &'a [WeekEntry],
}

#[derive(Template)]
#[template(path = "week.html", config = "src/shared/templates/askama.toml")]
struct Page<'a> {
    heading: String,
    contact: String,
    notice: Option<String>,
    feed: Option<&'a str>,
    caution: &'static str,
    outlines: &'a str,
    /// Swatch and words of each class of the maps.
    scale: Vec<(String, String)>,
    legend: String,
    pests: Vec<Pest>,
    cautions: Vec<Caution>,
}

struct Pest {
    title: String,
    said: String,
    page: String,
    line: Option<PestLine>,
}

/// The page as HTML.
///
/// # Errors
/// A [`Failure`] if the template cannot be written out.
pub(crate) fn week_html(of: &WeekPage) -> Result<String, Failure> {
    let region = display_name(of.region.title());
    let place = match region.is_empty() {
        true => String::new(),
        false => format!(" for {region}"),
    };
    let heading = match &of.week {
        Some(week) => format!("Alerts{place}, {week}"),
        None => format!("The newest alerts{place}"),
    };
    let words = CountWords::Either;
    let lines = of.entries.iter().filter_map(|entry| entry.line.as_ref());
    let page = Page {
        heading,
        contact: display_name(of.contact),
        notice: of.region.invented().map(plain_text),
        feed: of.feed,
        caution: IN_ONE_SENTENCE,
        outlines: of.maps.outlines(),
        scale: SmallMaps::scale()
            .map(|class| (swatch(class), class.words(words)))
            .collect(),
        legend: SmallMaps::legend(words),
        pests: of.entries.iter().map(pest).collect(),
        cautions: standing_cautions(lines.map(|line| (&*line.crop.0, line.crop.1.as_deref()))),
    };
    page.render().map_err(|error| {
        Failure::because(Kind::Publish, "cannot write the page of the week", error)
    })
}

fn pest(entry: &WeekEntry) -> Pest {
    let line = entry.line.as_ref().map(|line| PestLine {
        finding: seen_text(&line.finding),
        certainty: seen_text(&line.certainty),
        stages: line.stages.as_deref().map(seen_text),
        ..line.clone()
    });
    Pest {
        title: display_name(&entry.title),
        said: seen_text(&entry.standing.in_words()),
        page: entry.page.clone(),
        line,
    }
}
