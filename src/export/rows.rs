//! Which public rows a package has, beyond the rule of all: none that the office took back, and none that today's
//! settings would keep back.

use crate::figures::rolled_up::Figures;
use disclosure::editions::{Entry, Published};
use disclosure::public_row::PublicRow;
use disclosure::rule::Rule;
use scouting::failure::Failure;
use store::public::public_tables::PublicTables;

/// Leaves rows out that would become public again as they were before their alert was withdrawn. An office that took a
/// row back issues its week again if it is true after all; an export does not do that unasked.
pub(crate) async fn without_withdrawn_rows(
    mut figures: Figures,
    published: &[Published],
) -> Result<Figures, Failure> {
    let is_back = |entry: &Entry| {
        let latest = published
            .iter()
            .rev()
            .find(|one| is_of_same_place(&one.entry.row, &entry.row));
        latest.is_some_and(|one| one.withdrawn && one.entry.row == entry.row)
    };
    let (back, entering): (Vec<Entry>, Vec<Entry>) = std::mem::take(&mut figures.entering)
        .into_iter()
        .partition(is_back);
    figures.entering = entering;
    if !back.is_empty() {
        let rows = figures.public.rows().iter();
        let rows = rows.filter(|row| {
            let mut back = back.iter();
            !back.any(|entry| is_of_same_place(&entry.row, row))
        });
        let rows = rows.cloned().collect();
        figures.public = PublicTables::of(rows, &figures.setting).await?;
    }
    Ok(figures)
}

fn is_of_same_place(one: &PublicRow, other: &PublicRow) -> bool {
    one.place == other.place && one.iso_week == other.iso_week && one.protocol == other.protocol
}

/// A row that was published, kept back where the settings have become stricter since.
pub(crate) fn unless_too_small(one: Published, rule: &Rule) -> Published {
    let mut members = one.entry.members.iter();
    let farms_known = members.any(|member| member.farm.is_some());
    Published {
        withdrawn: one.withdrawn || one.entry.why_withheld(rule, farms_known).is_some(),
        ..one
    }
}
