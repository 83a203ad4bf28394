//! Where an entry of a mapping file finds its cells: by names, a letter, a pattern or a place.

use crate::mapping::definition::file::{FieldEntry, OneOrMany};
use crate::mapping::definition::mistake::{Mistake, mistake, regex};
use crate::mapping::member::{self, Keys, Level, Member};
use crate::mapping::names::{cell_of, column_of, folded};
use crate::mapping::plan::Selector;

/// The one way in which an entry says where its value is.
pub(in crate::mapping) fn selector(entry: &FieldEntry) -> Result<Selector, Mistake> {
    let given = [
        entry.name.is_some(),
        entry.column.is_some(),
        entry.name_pattern.is_some(),
        entry.cell.is_some(),
        entry.together.is_some(),
    ];
    if given.iter().filter(|given| **given).count() != 1 {
        return mistake(
            "it does not say in exactly one way where the value is",
            "give one of name, together, column, namePattern and cell",
        );
    }
    if let Some(names) = &entry.name {
        return names_selector(names);
    }
    if let Some(letters) = &entry.column {
        return letter_selector(letters);
    }
    if let Some(pattern) = &entry.name_pattern {
        return regex(pattern).map(Selector::Pattern);
    }
    if let Some(names) = &entry.together {
        if names.len() < 2 || names.iter().any(|name| folded(name).is_empty()) {
            return mistake(
                "together does not name two columns or more",
                "name the columns whose texts make one value, in their order; a single column is named by name",
            );
        }
        return Ok(Selector::Together(names.clone()));
    }
    let cell = entry.cell.as_deref().unwrap_or_default();
    match cell_of(cell) {
        Some((column, row)) => Ok(Selector::Cell(column, row)),
        None => mistake(format!("{cell:?} is no cell"), "name a cell as B2"),
    }
}

/// A column by its names.
pub(in crate::mapping) fn names_selector(names: &OneOrMany) -> Result<Selector, Mistake> {
    if names.all().is_empty() || names.all().iter().any(|name| folded(name).is_empty()) {
        return mistake(
            "a column has no name",
            "give the header's text, or the column's letter",
        );
    }
    Ok(Selector::Names(names.all().to_vec()))
}

/// A column by its letters.
pub(in crate::mapping) fn letter_selector(letters: &str) -> Result<Selector, Mistake> {
    match column_of(letters) {
        Some(column) => Ok(Selector::Letter(column)),
        None => mistake(
            format!("{letters:?} is no column"),
            "name a column by its letters, as C",
        ),
    }
}

/// The named groups of a pattern are placeholders of its target, each once, or names that another field takes as a column:
/// the day in a header over counts.
pub(in crate::mapping) fn check_groups(
    selector: &Selector,
    member: &Member,
    keys: &Keys,
) -> Result<(), Mistake> {
    let Selector::Pattern(pattern) = selector else {
        return Ok(());
    };
    let mut open = keys.clone();
    for group in pattern.capture_names().flatten() {
        let fits = member
            .placeholders()
            .any(|placeholder| member::is_same_place(placeholder, group));
        let is_placeholder = Keys::default().slot(group).is_some();
        let slot = open.slot(group).filter(|slot| fits && slot.is_none());
        match slot {
            Some(slot) => *slot = Some(String::new()),
            None if !is_placeholder && member.level == Level::Count => {}
            None => {
                return mistake(
                    format!(
                        "the group {group:?} of namePattern fills no placeholder of the target"
                    ),
                    "name groups after the placeholders: (?<site>…), (?<head>…), (?<bract>…)",
                );
            }
        }
    }
    Ok(())
}
