//! The catalog of protocols: the built-in files and, over them, those of a workspace.
//!
//! What a file says is in [`super::protocol_file`], whether it is sound in [`super::sound`].

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use include_dir::{Dir, include_dir};

pub use super::kind::{Decision, ThresholdKind};
use super::planned::Planner;
pub use super::protocol_file::{Caution, Check, Layout, Protocol};
use super::sound::unusable;
use crate::failure::Failure;
use crate::plain_file::{SETTINGS_BYTES_MAX, read_plain_text};

static BUILT_IN: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/../../pipeline/protocols");

/// The built-in protocols: place and text of each TOML file; the folder has a README, too.
///
/// # Errors
/// A [`Failure`] with the place if one is not UTF-8.
pub fn built_in_files() -> Result<Vec<(&'static Path, &'static str)>, Failure> {
    let toml = BUILT_IN.files().filter(|file| {
        let ending = file.path().extension();
        ending.is_some_and(|ending| ending == "toml")
    });
    let files = toml.map(|file| {
        let place = file.path();
        let text = file
            .contents_utf8()
            .ok_or_else(|| unusable(format!("{}: it is not UTF-8", place.display())))?;
        Ok((place, text))
    });
    files.collect()
}

/// Every protocol by its id.
#[derive(Debug, Clone)]
pub struct Catalogue {
    protocols: BTreeMap<String, Protocol>,
}

impl Catalogue {
    /// The built-in protocols and, over them, those in a workspace's own folder if it is there.
    ///
    /// # Errors
    /// A [`Failure`] with the place and the reason if a file cannot be read or is no sound protocol.
    pub fn read(own: Option<&Path>, planner: Planner) -> Result<Catalogue, Failure> {
        let mut protocols = BTreeMap::new();
        for (place, text) in built_in_files()? {
            let protocol = Protocol::read(text, place, planner)?;
            protocols.insert(protocol.id.clone(), protocol);
        }
        for place in own.map(toml_files).transpose()?.unwrap_or_default() {
            let text = read_plain_text(&place, SETTINGS_BYTES_MAX)?;
            let protocol = Protocol::read(&text, &place, planner)?;
            protocols.insert(protocol.id.clone(), protocol);
        }
        Ok(Catalogue { protocols })
    }

    /// The protocol of this id.
    pub fn protocol(&self, id: &str) -> Option<&Protocol> {
        self.protocols.get(id)
    }

    /// Every protocol, by id.
    pub fn protocols(&self) -> impl Iterator<Item = &Protocol> {
        self.protocols.values()
    }

    /// The ids, for a message that lists the choices.
    pub fn ids(&self) -> String {
        self.protocols
            .keys()
            .cloned()
            .collect::<Vec<_>>()
            .join(", ")
    }
}

fn toml_files(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    if !folder.is_dir() {
        return Ok(Vec::new());
    }
    let unreadable = |error| Failure::file("read", folder, error);
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        if path
            .extension()
            .is_some_and(|extension| extension == "toml")
        {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}
