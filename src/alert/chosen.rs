//! Which week and protocols an alert command is about, and what is published with an alert.

use crate::figures::rolled_up::Figures;
use crate::shared::shown_days::week_in_words;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Protocol;
use scouting::visit::week::{IsoWeek, Weeks};
use store::public::public_rows::Publishing;

/// What an alert command is asked for.
#[derive(Debug, Clone, Default)]
pub(crate) struct Choice {
    /// The week; `None` is the newest that has visits.
    pub(crate) week: Option<IsoWeek>,
    /// Id of the one protocol; `None` is every one that the week has visits under.
    pub(crate) protocol: Option<String>,
}

impl Choice {
    /// The week, and its protocols in the order of their ids.
    ///
    /// # Errors
    /// A [`Failure`] if the week has no visits, or the catalog lacks a protocol.
    pub(crate) fn of(&self, figures: &Figures) -> Result<(IsoWeek, Vec<Protocol>), Failure> {
        let week = match self.week {
            Some(week) => week,
            None => newest_week(figures)?,
        };
        if let Some(id) = &self.protocol {
            return Ok((week, vec![protocol_of(figures, id)?.clone()]));
        }
        let visited = figures.visited();
        let wanted = week.to_string();
        let of_week = visited.iter().filter(|(week, _)| *week == wanted);
        let protocols = of_week.map(|(_, id)| protocol_of(figures, id).cloned());
        let protocols = protocols.collect::<Result<Vec<_>, _>>()?;
        match protocols.is_empty() {
            false => Ok((week, protocols)),
            true => Err(Failure::new(
                Kind::Publish,
                format!("no visit in {week}: there is nothing to report"),
            )
            .mend(weeks_with_visits(figures))),
        }
    }

    /// That the program chose the week, if it did.
    pub(crate) fn newest(&self, week: IsoWeek, weeks: &Weeks) -> Option<String> {
        self.week.is_none().then(|| newest_in_words(week, weeks))
    }
}

/// The newest week that has visits.
///
/// # Errors
/// A [`Failure`] if no week has any.
pub(crate) fn newest_week(figures: &Figures) -> Result<IsoWeek, Failure> {
    let visited = figures.visited();
    let weeks = visited.iter().filter_map(|(week, _)| week.parse().ok());
    weeks.max().ok_or_else(|| {
        Failure::new(
            Kind::Publish,
            "no week has visits: there is nothing to report",
        )
        .mend(weeks_with_visits(figures))
    })
}

/// That the program chose the week: `newest week with visits: 2026-W30, week ending July 26, 2026 (July 20–26)`.
fn newest_in_words(week: IsoWeek, weeks: &Weeks) -> String {
    format!(
        "newest week with visits: {week}, {}",
        week_in_words(week, weeks)
    )
}

/// The protocol with this id.
///
/// # Errors
/// A [`Failure`] if the catalog lacks it.
pub(crate) fn protocol_of<'a>(figures: &'a Figures, id: &str) -> Result<&'a Protocol, Failure> {
    figures.catalogue.protocol(id).ok_or_else(|| {
        Failure::new(Kind::Protocol, format!("no protocol {id:?}"))
            .mend(format!("the catalog has {}", figures.catalogue.ids()))
    })
}

fn weeks_with_visits(figures: &Figures) -> String {
    let visited = figures.visited();
    let mut weeks: Vec<&str> = visited.iter().map(|(week, _)| week.as_str()).collect();
    weeks.dedup();
    if weeks.is_empty() {
        "no week has visits yet: load some with `bractline load FILE…`".to_owned()
    } else {
        format!("the weeks with visits are {}", weeks.join(", "))
    }
}

/// What is published with the alert of a week.
pub(crate) fn publishing(week: IsoWeek, protocol: &str) -> Publishing {
    Publishing::Week {
        iso_week: week.to_string(),
        protocol: protocol.to_owned(),
    }
}
