//! Which protocol an alert is of, and what is published with it.

use crate::figures::rolled_up::Figures;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Protocol;
use scouting::visit::week::IsoWeek;
use store::public::public_rows::Publishing;

/// The protocol that was named, or the only one that the week has visits of.
pub(crate) fn chosen_protocol<'a>(
    figures: &'a Figures,
    week: IsoWeek,
    named: Option<&str>,
) -> Result<&'a Protocol, Failure> {
    let visited = figures.visited();
    let wanted = week.to_string();
    let of_week = visited.iter().filter(|(week, _)| *week == wanted);
    let ids: Vec<&str> = of_week.map(|(_, protocol)| protocol.as_str()).collect();
    let id = match (named, ids.as_slice()) {
        (Some(id), _) => id,
        (None, [id]) => id,
        (None, []) => {
            return Err(Failure::new(
                Kind::Publish,
                format!("no visit in {week}: there is nothing to report"),
            )
            .mend(weeks_with_visits(figures)));
        }
        (None, several) => {
            return Err(Failure::new(
                Kind::Publish,
                format!(
                    "{week} has visits under {} protocols: {}",
                    several.len(),
                    several.join(", ")
                ),
            )
            .mend("choose one with --protocol ID"));
        }
    };
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
