//! The mapping files of an inbox, by the folder in which they were found.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use intake::mapping::Mapping;
use intake::read::inbox::fitting_mapping::FolderMapping;
use scouting::failure::Failure;

/// The mappings of an inbox.
#[derive(Default)]
pub(super) struct Mappings {
    by_folder: BTreeMap<PathBuf, Vec<FolderMapping>>,
}

impl Mappings {
    /// Adds a mapping file; the failure if it cannot be used. `within` is its path within the inbox.
    pub(super) fn add(&mut self, within: &Path, name: &str, text: &str) -> Option<Failure> {
        let read = Mapping::read(text, name);
        let failure = read.as_ref().err().cloned();
        let mapping = FolderMapping {
            place: name.to_owned(),
            read,
        };
        let folder = within.parent().unwrap_or(Path::new("")).to_owned();
        self.by_folder.entry(folder).or_default().push(mapping);
        failure
    }

    /// The mappings of the nearest folder that has any, from that of a file up to the inbox.
    pub(super) fn nearest(&self, within: &Path) -> Arc<[FolderMapping]> {
        let folders = within.ancestors().skip(1);
        let mut found = folders.filter_map(|folder| self.by_folder.get(folder));
        found
            .next()
            .map_or_else(|| Arc::from([]), |mappings| Arc::from(mappings.as_slice()))
    }
}
