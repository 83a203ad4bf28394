//! The page that comes with the tables of a scenario: that it is one, with what values, how its money is worked
//! out and from whose relation. Shows no figure of any county.

use std::fmt::Write;

use crate::figures::map::columns::{add_row, plain};
use crate::shared::cautions::{IN_ONE_SENTENCE, NOTICE, cautions_markdown, crop_and_stage};
use crate::shared::tables::ColumnDoc;
use scouting::protocol::catalogue::{Catalogue, Protocol, ThresholdKind};
use scouting::region::Region;
use store::stages::scenario::Scenario;

/// What a page is made from.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ScenarioFacts<'a> {
    /// The region.
    pub region: &'a Region,
    /// What was asked.
    pub scenario: &'a Scenario,
    /// Every protocol.
    pub catalogue: &'a Catalogue,
    /// Ids of the protocols that have visits.
    pub protocols: &'a [String],
    /// The version of the store.
    pub store_version: i64,
    /// What the columns of the table of counties mean.
    pub county_docs: &'a [ColumnDoc<'a>],
    /// What those of the table of fields mean.
    pub field_docs: &'a [ColumnDoc<'a>],
}

impl ScenarioFacts<'_> {
    fn used(&self) -> impl Iterator<Item = &Protocol> {
        let ids = self.protocols.iter();
        ids.filter_map(|id| self.catalogue.protocol(id))
    }

    /// Protocols whose thresholds are based on nothing that the scenario changes.
    pub(crate) fn unmoved(&self) -> Vec<&str> {
        let moves = |protocol: &Protocol| {
            let needed = protocol.limits().economics_needed;
            let mut needed = needed.values().flatten();
            needed.any(|member| self.scenario.change(*member).is_some())
        };
        self.used()
            .filter(|protocol| !moves(protocol))
            .map(|protocol| &*protocol.id)
            .collect()
    }

    /// Protocols whose files state no relation between count and loss.
    pub(crate) fn without_damage(&self) -> Vec<&str> {
        self.used()
            .filter(|protocol| protocol.damage.is_none())
            .map(|protocol| &*protocol.id)
            .collect()
    }
}

/// The page, as Markdown.
pub(crate) fn scenario_page(facts: &ScenarioFacts) -> String {
    let mut page = format!(
        "# Scenario {}\n\n**{NOTICE}**\n\n",
        plain(&facts.scenario.to_string())
    );
    // Writing to a String cannot fail.
    if let Some(notice) = facts.region.invented() {
        let _ = writeln!(page, "**{}**\n", plain(notice));
    }
    let _ = writeln!(page, "{IN_ONE_SENTENCE}\n");
    let version = facts.store_version;
    let _ = writeln!(
        page,
        "Made from store version {version}, which it leaves as it is. Visits, counts and fields are those of the roll-up; \
         changed are\n"
    );
    for said in facts.scenario.in_words() {
        let _ = writeln!(page, "- {}", plain(&said));
    }
    let unmoved = facts.unmoved().join(", ");
    if !unmoved.is_empty() {
        let _ = writeln!(
            page,
            "\nThe thresholds of {unmoved} depend on none of this and stay as they are."
        );
    }
    page.push_str(
        "\nThe columns that end in `_as_recorded` hold the economics of the records. Every table is \
         private, those by county too: they include counties of very few fields, and several scenarios of one week \
         together tell more of its fields than one does.\n\n\
         ## Loss avoided and net benefit\n\n\
         loss avoided = crop saved (kg per hectare) x market value; net benefit = loss avoided - cost of treatment, \
         all for one hectare, in the currency named in column `currency`. Below 0, treating costs more than it saves. \
         What is saved is the mean of trials, taken as a straight line of the count: it is not a prediction for any field, and beyond the counts of the trials it is a guess.\n\n",
    );
    for protocol in facts.used() {
        let id = &protocol.id;
        let _ = match &protocol.damage {
            Some(damage) => writeln!(
                page,
                "- `{id}`: {}. Source: {} At its threshold, an {}, {}.",
                plain(damage.formula.trim_end_matches('.')),
                plain(&damage.source),
                protocol.threshold.kind,
                match protocol.threshold.kind {
                    ThresholdKind::EconomicInjuryLevel =>
                        "the loss avoided equals the cost and the net benefit is 0",
                    _ => "the net benefit need not be 0: it says when to act",
                }
            ),
            None => writeln!(
                page,
                "- `{id}`: its file states no relation between count and loss, so these columns are empty."
            ),
        };
    }
    for (names, about, docs) in [
        (
            "scenario_county_week.csv, scenario_county_week.parquet",
            "**Private**: one row per county, week and protocol, however few its fields, as in county_week_full.",
            facts.county_docs,
        ),
        (
            "scenario_field_week.parquet",
            "**Private**: it names fields. One row per field, week and protocol.",
            facts.field_docs,
        ),
    ] {
        let _ = writeln!(page, "\n## {names}\n\n{about}\n");
        page.push_str("| column | unit | meaning |\n|---|---|---|\n");
        for doc in docs {
            add_row(&mut page, doc);
        }
    }
    page.push_str("\n## Cautions\n\n");
    page.push_str(&cautions_markdown(facts.used().map(crop_and_stage)));
    page
}
