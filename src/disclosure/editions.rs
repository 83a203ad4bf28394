//! When the row of a place enters the public rows, and when a second edition of it does.
//!
//! A place's row is made again once at most, and only if the fields that were
//! added, changed or taken away since are a group that could be shown by itself: the difference of the two rows then
//! gives away no more of a field than a row does. Otherwise the first row stays as it is, and what came later goes to the
//! rows `elsewhere in …`.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::cell::{Withheld, judge};
use super::field::{FieldWeek, Id};
use super::place::Place;
use super::public_row::{PublicRow, public_row};
use super::rule::{Level, Rule};
use super::week::Week;

/// A field of a public row. Private: it is kept in the store, and shows later what has changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Member {
    /// The field.
    pub field: Id,
    /// Its farm.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub farm: Option<Id>,
    /// A hash of what the row rests on of it.
    pub state: Id,
    /// Whether it was in the stage window.
    pub in_window: bool,
}

impl Member {
    fn of(field: &FieldWeek) -> Member {
        Member {
            field: field.field,
            farm: field.farm,
            state: field.state(),
            in_window: field.in_window,
        }
    }
}

/// A row as it enters the table of public rows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// What is public.
    pub row: PublicRow,
    /// The fields that it rests on. Private.
    pub members: Vec<Member>,
}

impl Entry {
    /// Why a rule that may be stricter than the one of its day does not show it; `None` if it does. `farms_known` says
    /// whether any visit of the season names a farm.
    pub fn why_withheld(&self, rule: &Rule, farms_known: bool) -> Option<String> {
        if self.row.level < rule.level {
            return Some(format!("it is of the level {}", self.row.level.word()));
        }
        let in_window = self.row.fields_visited > 0;
        let counted = self.members.iter();
        let farms = counted
            .filter(|member| member.in_window == in_window)
            .map(|member| member.farm);
        let judged = judge(farms, farms_known, rule);
        judged.err().map(|why| why.to_string())
    }
}

/// An entry that is public, in the order of its edition.
#[derive(Debug, Clone, PartialEq)]
pub struct Published {
    /// The entry.
    pub entry: Entry,
    /// Whether the alert that brought it was withdrawn: it is no longer shown, and what it said is known all the same.
    pub withdrawn: bool,
}

impl Published {
    /// Whether its row is shown by a rule: it was not withdrawn, and the rule has not become stricter than it allows.
    pub fn is_shown(&self, rule: &Rule, farms_known: bool) -> bool {
        !self.withdrawn && self.entry.why_withheld(rule, farms_known).is_none()
    }
}

/// What becomes of a place.
pub(super) enum Decision<'a> {
    /// It has a new row, or a second edition.
    Enter(Entry),
    /// Its row stays.
    Keep {
        /// Fields that came too late for it.
        late: Vec<&'a FieldWeek>,
        /// The entry once more, where its alert was withdrawn and nothing of it has changed.
        again: Option<Entry>,
    },
    /// It has no row: its fields go on.
    Pool(Vec<&'a FieldWeek>, Withheld),
}

/// What becomes of a place with these fields, given the newest entry of it that is public.
pub(super) fn decision<'a>(
    week: &Week,
    place: &Place,
    own: Vec<&'a FieldWeek>,
    published: Option<&Published>,
    rule: &Rule,
) -> Decision<'a> {
    let heading = week.heading(place);
    let made = public_row(&heading, &own, rule);
    let entry = |row: PublicRow| Entry {
        row,
        members: own.iter().map(|field| Member::of(field)).collect(),
    };
    let Some(published) = published else {
        return match made {
            Ok(row) => Decision::Enter(entry(row)),
            Err(why) => Decision::Pool(own, why),
        };
    };
    let first = &published.entry;
    let known: BTreeMap<Id, &Member> = first
        .members
        .iter()
        .map(|member| (member.field, member))
        .collect();
    if let (1, Ok(row)) = (first.row.edition, made)
        && let Some(changed) = changed_by_a_group(week, &known, &own, rule)
        && follows(&first.row, &row, changed)
    {
        return Decision::Enter(entry(PublicRow {
            edition: 2,
            // A cell that came with one late field would place that field.
            cells: first.row.cells.clone(),
            ..row
        }));
    }
    let now: BTreeMap<Id, Id> = own
        .iter()
        .map(|field| (field.field, field.state()))
        .collect();
    let same = |member: &Member| now.get(&member.field) == Some(&member.state);
    let again = published.withdrawn && first.members.iter().all(same);
    let late = own
        .into_iter()
        .filter(|field| !known.contains_key(&field.field));
    Decision::Keep {
        late: late.collect(),
        again: again.then(|| first.clone()),
    }
}

/// How many fields in the stage window were added, changed or taken away, if these, and those outside it, are each a
/// group that could be shown by itself, or none; `None` if nothing changed or it may not be shown.
fn changed_by_a_group(
    week: &Week,
    before: &BTreeMap<Id, &Member>,
    now: &[&FieldWeek],
    rule: &Rule,
) -> Option<u32> {
    let now: BTreeMap<Id, Member> = now
        .iter()
        .map(|field| (field.field, Member::of(field)))
        .collect();
    let fields: BTreeSet<Id> = before.keys().chain(now.keys()).copied().collect();
    let (mut inside, mut outside) = (Vec::new(), Vec::new());
    for field in fields {
        let states = [before.get(&field).copied(), now.get(&field)];
        if states[0].map(|member| member.state) == states[1].map(|member| member.state) {
            continue;
        }
        let farm = states
            .iter()
            .flatten()
            .last()
            .and_then(|member| member.farm);
        if states.iter().flatten().any(|member| member.in_window) {
            inside.push(farm);
        }
        if states.iter().flatten().any(|member| !member.in_window) {
            outside.push(farm);
        }
    }
    if inside.is_empty() && outside.is_empty() {
        return None;
    }
    let may_be_shown = |farms: &[Option<Id>]| {
        farms.is_empty() || judge(farms.iter().copied(), week.farms_known, rule).is_ok()
    };
    (may_be_shown(&inside) && may_be_shown(&outside)).then_some(inside.len() as u32)
}

/// Whether two intervals of a row may follow each other: under `strict` the two together must not tell that all of
/// the fields that changed are at threshold, or none of them.
fn follows(first: &PublicRow, second: &PublicRow, changed: u32) -> bool {
    if second.level != Level::Strict || changed == 0 {
        return true;
    }
    let most = changed.div_ceil(2).saturating_sub(1);
    second.at_threshold[0] <= first.at_threshold[1] + most
        && second.at_threshold[1] + most >= first.at_threshold[0]
}
