//! A load that a person names, by its id or the beginning of it.

use scouting::failure::{Failure, Kind};
use store::ledger::loads::{Load, taken_back};

/// Fewest characters of an id that name a load.
const PREFIX_MIN: usize = 8;

/// The load whose id is, or alone begins with, a text.
///
/// # Errors
/// If there is none, or more than one.
pub(crate) fn load_named<'a>(loads: &'a [Load], text: &str) -> Result<&'a Load, Failure> {
    let refused = |what: String| {
        Err(Failure::new(Kind::Settings, what)
            .mend("`bractline submissions list` shows the id of every load"))
    };
    if let Some(load) = loads.iter().find(|load| load.load_id == text) {
        return Ok(load);
    }
    if text.len() < PREFIX_MIN {
        return refused(format!(
            "no load has the id {text:?}; the beginning of an id has {PREFIX_MIN} characters or more"
        ));
    }
    let mut named = loads.iter().filter(|load| load.load_id.starts_with(text));
    match (named.next(), named.next()) {
        (Some(load), None) => Ok(load),
        (None, _) => refused(format!("no load has the id {text:?}")),
        (Some(_), Some(_)) => refused(format!("several loads have ids that begin with {text:?}")),
    }
}

/// What an undo of a load is about: the load that a sender or an edit brought, and whether it is taken back or brought
/// back.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Undoable<'a> {
    pub(crate) load: &'a Load,
    pub(crate) takes_back: bool,
}

/// What the undo of the named load would be about. The undo of an undo brings back what that took.
///
/// # Errors
/// If it is undone already.
pub(crate) fn undoable<'a>(loads: &'a [Load], named: &'a Load) -> Result<Undoable<'a>, Failure> {
    let of_root = |root: &str| {
        let undos = loads.iter().rev();
        undos
            .clone()
            .find(|load| load.undoes.as_deref() == Some(root))
    };
    let root = match &named.undoes {
        Some(root) => load_named(loads, root)?,
        None => named,
    };
    let last = of_root(&root.load_id);
    let is_taken_back = taken_back(loads).contains(root.load_id.as_str());
    match last {
        Some(last) if named.undoes.is_some() && last.load_id != named.load_id => {
            Err(undone(named, last))
        }
        Some(last) if named.undoes.is_none() && is_taken_back => Err(undone(named, last)),
        _ => Ok(Undoable {
            load: root,
            takes_back: !is_taken_back,
        }),
    }
}

fn undone(named: &Load, by: &Load) -> Failure {
    let reason = by.reason.as_deref().unwrap_or_default();
    Failure::new(
        Kind::Settings,
        format!("{} ({}) is undone already", named.load_id, named.file_name),
    )
    .at(format!("undone by {} ({reason})", by.load_id))
    .mend(format!(
        "to undo that in turn: bractline submissions undo {} --reason TEXT",
        by.load_id
    ))
}
