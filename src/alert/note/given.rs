//! The comments that an alert is to have: none, those of a file, those of a folder with a file for each protocol, or
//! those of the alert that it replaces.

use std::collections::BTreeMap;
use std::path::Path;

use super::bounds::note_text;
use super::rendered::Note;
use scouting::failure::{Failure, Kind};
use scouting::plain_file::open_plain;

/// The comments that the alerts of a command are to have.
#[derive(Debug, Clone)]
pub(crate) enum Notes {
    /// This text, for the one alert of the command.
    Text(String),
    /// Texts by the ids of protocols; the others are as with [`Notes::AsBefore`].
    Each(BTreeMap<String, String>),
    /// None.
    None,
    /// Those of the alert that is replaced, if one is.
    AsBefore,
}

impl Notes {
    /// The note of an alert, given that of the alert that it replaces.
    pub(crate) fn of(&self, protocol: &str, before: Option<&str>) -> Option<String> {
        let text = match self {
            Notes::Text(text) => Some(text.as_str()),
            Notes::Each(texts) => texts.get(protocol).map(String::as_str).or(before),
            Notes::None => None,
            Notes::AsBefore => before,
        };
        text.map(str::to_owned)
    }

    /// # Errors
    /// A [`Failure`] if a note would be on no alert, or one note on the alerts of several protocols.
    pub(crate) fn check(&self, protocols: &[&str]) -> Result<(), Failure> {
        match (self, protocols) {
            (Notes::Text(_), [_, _, ..]) => Err(Failure::new(
                Kind::Publish,
                format!("--note is for one alert, and there are {}: {}", protocols.len(), protocols.join(", ")),
            )
            .mend("choose one with --protocol ID, or give --notes DIR with a file PROTOCOL.md for each that has comments")),
            (Notes::Each(texts), _) => {
                let stray = texts.keys().find(|id| !protocols.contains(&id.as_str()));
                stray.map_or(Ok(()), |id| {
                    Err(Failure::new(
                        Kind::Publish,
                        format!("the folder of --notes has {id}.md, and no alert of {id} is made"),
                    )
                    .mend(format!(
                        "name each file by the id of its protocol: {}; take out the others",
                        protocols.join(", ")
                    )))
                })
            }
            _ => Ok(()),
        }
    }
}

/// The text of a note's file; a longer one is not read to its end.
///
/// # Errors
/// A [`Failure`] if it cannot be read, or is no note.
pub(crate) fn read_note(path: &Path) -> Result<String, Failure> {
    let file = open_plain(path)?;
    let text = note_text(file, path)?;
    // A failure of the note names a line of it; the file is named with it.
    Note::read(&text).map_err(|failure| failure.in_file(path))?;
    Ok(text)
}

/// The notes of a folder, by the ids of their protocols.
///
/// # Errors
/// A [`Failure`] if it cannot be read, or holds anything but files `PROTOCOL.md`.
pub(crate) fn read_notes(folder: &Path) -> Result<BTreeMap<String, String>, Failure> {
    let unreadable = |error| Failure::file("read", folder, error);
    let mut notes = BTreeMap::new();
    for entry in folder.read_dir().map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        let name = path.file_name().and_then(|name| name.to_str());
        let id = name.and_then(|name| name.strip_suffix(".md"));
        let Some(id) = id.filter(|id| !id.is_empty()) else {
            return Err(Failure::new(Kind::Publish, "the folder of --notes holds what is no note")
                .at(path.display().to_string())
                .mend("leave in it a file PROTOCOL.md for each protocol that has comments, such as bsm-eggs.md"));
        };
        notes.insert(id.to_owned(), read_note(&path)?);
    }
    match notes.is_empty() {
        false => Ok(notes),
        true => Err(
            Failure::new(Kind::Publish, "the folder of --notes is empty")
                .at(folder.display().to_string())
                .mend("put a file PROTOCOL.md into it, or leave --notes out"),
        ),
    }
}
