//! The office that publishes, as its alerts show it.

use super::logo::data_uri;
use crate::shared::unseen::plain_text;
use crate::workspace::Workspace;
use scouting::failure::Failure;
use scouting::plain_file::read_plain;

/// The most bytes of a logo: as text in the page it takes a third more, and the largest page stays under 200 kB.
const LOGO_BYTES_MAX: u64 = 40_000;

/// Name, ways to reach it, words of its own, and its logo.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Office {
    /// Its name; empty if the settings do not say.
    pub name: String,
    /// How to reach it; may be empty.
    pub contact: String,
    /// What it prints at the foot of every alert; may be empty.
    pub footer: String,
    /// Its logo as an address that holds the picture itself.
    pub logo: Option<String>,
}

impl Office {
    /// The office of these settings, with a logo that was read already.
    ///
    /// # Errors
    /// A [`Failure`] if the logo is no picture that a page may hold.
    pub(crate) fn of(workspace: &Workspace, logo: Option<&[u8]>) -> Result<Office, Failure> {
        let office = &workspace.settings().office;
        let logo = logo.map(|bytes| data_uri(bytes).map_err(|failure| failure.at(&office.logo)));
        Ok(Office {
            name: plain_text(&office.name),
            contact: plain_text(&office.contact),
            footer: plain_text(&office.footer),
            logo: logo.transpose()?,
        })
    }

    /// Name and contact on one line; empty if neither is known.
    pub(crate) fn in_words(&self) -> String {
        let given = [&self.name, &self.contact].into_iter();
        let given: Vec<&str> = given
            .map(String::as_str)
            .filter(|said| !said.is_empty())
            .collect();
        given.join(", ")
    }
}

/// The bytes of the logo that the settings name.
///
/// # Errors
/// A [`Failure`] if it cannot be read, or is too large.
pub(crate) fn read_logo(workspace: &Workspace) -> Result<Option<Vec<u8>>, Failure> {
    let read = |path: std::path::PathBuf| {
        read_plain(&path, LOGO_BYTES_MAX).map_err(|failure| {
            failure.mend(
                "[office] logo names an SVG or PNG file in the workspace of at most 40,000 bytes: save it smaller, or \
                 leave logo empty",
            )
        })
    };
    workspace.logo().map(read).transpose()
}
