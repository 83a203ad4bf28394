//! What the page of a week says of one pest: the finding, how sure it is, the stages counted, and a small map. From public
//! rows alone.

use std::collections::BTreeMap;

use crate::alert::page::row_words::{fields_at_threshold_in_words, percent_in_words};
use crate::alert::page::summary::Summary;
use crate::alert::page::wording::headline;
use crate::figures::map::small_map::SmallMaps;
use crate::shared::count_words::CountWords;
use crate::shared::shown_numbers::count_of;
use crate::shared::unseen::plain_text;
use disclosure::editions::Published;
use disclosure::place::Place;
use disclosure::public_row::PublicRow;
use scouting::protocol::catalogue::Protocol;
use scouting::region::Region;

/// What is said of a pest in a week.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct PestLine {
    /// The headline of its alert.
    pub finding: String,
    /// How sure that is: fields, counties, and the interval of the highest county.
    pub certainty: String,
    /// Stages of the fields counted; `None` where none is shown.
    pub stages: Option<String>,
    /// The protocol's cautions that are at the top of its alert.
    pub cautions: Vec<String>,
    /// The crop, and the stage at which it is treated.
    pub crop: (String, Option<String>),
    /// An `svg` element that needs the outlines of [`SmallMaps`] on its page.
    pub map: String,
}

impl PestLine {
    /// What the rows of a week say of the pest of a protocol.
    pub(crate) fn of(
        region: &Region,
        maps: &SmallMaps,
        rows: &[PublicRow],
        protocol: &Protocol,
    ) -> PestLine {
        let words = CountWords::of(protocol);
        let summary = Summary::of(region, rows, words);
        PestLine {
            finding: headline(&summary),
            certainty: certainty(&summary),
            stages: stages(rows, words),
            cautions: protocol
                .cautions
                .iter()
                .filter(|caution| caution.at_top)
                .map(|caution| plain_text(&caution.text))
                .collect(),
            crop: (plain_text(&protocol.crop), protocol.timing.treat_at.clone()),
            map: maps.draw(rows, &plain_text(&protocol.title), words),
        }
    }
}

/// `Based on 27 fields in 7 of 66 counties. Highest county Brown: 3 of 4 fields at threshold, 95% confidence interval 30
/// to 95%.`
fn certainty(summary: &Summary) -> String {
    let words = summary.words;
    let fields = |count: u32| count_of(count as usize, words.one(), words.several());
    let shown = summary.shown.len();
    let all = shown + summary.other_stage + summary.without_figures.len();
    let counties = count_of(all, "county", "counties");
    let mut said = format!(
        "Based on {} in {shown} of {counties}.",
        fields(Summary::fields(&summary.shown))
    );
    if let Some(county) = summary.highest() {
        let interval = percent_in_words(county.row, " to ");
        said += &format!(
            " Highest county {}: {}, 95% confidence interval {interval}.",
            county.name,
            fields_at_threshold_in_words(county.row, words)
        );
    }
    match Summary::fields(&summary.elsewhere) {
        0 => said,
        some => said + &format!(" {} of other counties are combined.", fields(some)),
    }
}

/// `R2 28, R3 50`, or where no field was in the stage window `all at another stage: V 12`.
fn stages(rows: &[PublicRow], words: CountWords) -> Option<String> {
    let named = |in_window: bool| -> Option<String> {
        let mut fields: BTreeMap<(i32, &str), u32> = BTreeMap::new();
        for stage in rows.iter().flat_map(|row| &row.stages) {
            if stage.in_window == in_window {
                *fields.entry((stage.place, &stage.crop_stage)).or_default() += stage.fields;
            }
        }
        let parts = fields
            .iter()
            .map(|((_, stage), fields)| format!("{stage} {fields}"));
        let parts: Vec<String> = parts.collect();
        (!parts.is_empty()).then(|| parts.join(", "))
    };
    let counted =
        named(true).map(|stages| format!("Stages of the {} counted: {stages}.", words.several()));
    counted.or_else(|| named(false).map(|stages| format!("All at another crop stage: {stages}.")))
}

/// The public rows of a week under a protocol as alerts brought them: of each place the newest, unless it was withdrawn.
pub(crate) fn shown_rows<'a>(
    published: impl IntoIterator<Item = &'a Published>,
    iso_week: &str,
    protocol: &str,
) -> Vec<PublicRow> {
    let mut latest: BTreeMap<&Place, &Published> = BTreeMap::new();
    for one in published {
        let row = &one.entry.row;
        if row.iso_week == iso_week && row.protocol == protocol {
            latest.insert(&row.place, one);
        }
    }
    let shown = latest.into_values().filter(|one| !one.withdrawn);
    shown.map(|one| one.entry.row.clone()).collect()
}
