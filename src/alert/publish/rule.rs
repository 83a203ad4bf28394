//! Whether what was issued is public by the stricter of the settings then and now.

use std::collections::{BTreeMap, BTreeSet};

use crate::alert::issue::as_issued::made_by_an_older_program;
use crate::workspace::Workspace;
use disclosure::editions::Published;
use disclosure::place::Place;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Protocol;
use store::alerts::issued_alert::IssuedAlert;

/// Holds the rows that an alert shows to the rule; `rows` are those that were public with it.
///
/// # Errors
/// A [`Failure`] that says which row is no longer fit to be published, and how to withdraw the alert.
pub(crate) fn hold_to_rule(
    workspace: &Workspace,
    alert: &IssuedAlert,
    rows: &[Published],
) -> Result<(), Failure> {
    if alert.public_rows.is_none() {
        return Err(made_by_an_older_program(alert));
    }
    let then = workspace.as_it_was(&alert.settings)?;
    let now = workspace.settings().disclosure.rule();
    let rule = now.stricter(then.settings().disclosure.rule());
    let season = &alert.iso_week[..alert.iso_week.len().min(4)];
    let of_season = rows
        .iter()
        .filter(|one| one.entry.row.season.to_string() == season);
    let mut members = of_season.flat_map(|one| &one.entry.members);
    let farms_known = members.any(|member| member.farm.is_some());
    let mut latest: BTreeMap<&Place, &Published> = BTreeMap::new();
    for one in rows {
        let row = &one.entry.row;
        if row.iso_week == alert.iso_week && row.protocol == alert.protocol {
            latest.insert(&row.place, one);
        }
    }
    let shown = latest.into_values().filter(|one| !one.withdrawn);
    for one in shown {
        if let Some(why) = one.entry.why_withheld(&rule, farms_known) {
            return Err(Failure::new(
                Kind::Publish,
                format!(
                    "publishing stopped, nothing was written: alert {} shows {}, which [disclosure] no longer allows: {why}",
                    alert.number,
                    one.entry.row.place.in_words()
                ),
            )
            .mend(format!(
                "withdraw it: bractline alert --withdraw {} --reason TEXT; then issue the week again",
                alert.number
            )));
        }
    }
    Ok(())
}

/// Of one pest in one crop, what is counted in one way is published against one threshold: against two, the difference
/// of the two would reveal fields between them.
///
/// # Errors
/// A [`Failure`] that names the two protocols.
pub(crate) fn one_protocol_a_count<'a>(
    protocols: impl IntoIterator<Item = &'a Protocol>,
) -> Result<(), Failure> {
    two_of_one_count(protocols).map_or(Ok(()), |found| {
        Err(Failure::new(
            Kind::Publish,
            format!("publishing stopped, nothing was written: alerts of {found}"),
        )
        .mend("withdraw the alerts of one of them: two thresholds for one count reveal the fields between them"))
    })
}

/// Two protocols of one count with different thresholds, and what they count; `None` if there are none.
pub(crate) fn two_of_one_count<'a>(
    protocols: impl IntoIterator<Item = &'a Protocol>,
) -> Option<String> {
    let mut known: BTreeMap<(&str, &str, &str), BTreeSet<&str>> = BTreeMap::new();
    for protocol in protocols {
        let count = (
            protocol.scientific_name(),
            protocol.crop.as_str(),
            protocol.counted.as_str(),
        );
        known.entry(count).or_default().insert(&protocol.id);
    }
    let two = known.into_iter().find(|(_, ids)| ids.len() > 1);
    two.map(|((pest, crop, counted), ids)| {
        let ids: Vec<&str> = ids.into_iter().collect();
        format!(
            "{} are of one count ({counted}, {pest}, {crop}) against different thresholds",
            ids.join(" and ")
        )
    })
}
