//! All that an alert is made from, as text, so that it can be kept and used again: what is issued and what
//! is built again go through the same door.

use std::collections::BTreeMap;
use std::path::Path;

use include_dir::{Dir, include_dir};
use sha2::{Digest, Sha256};

use super::rollup::Figures;
use super::{open_store, workers};
use crate::failure::{Failure, Kind};
use crate::protocol::catalogue::Catalogue;
use crate::publish::files::write_file;
use crate::region::Region;
use crate::store::alerts::IssuedAlert;
use crate::store::snapshot::Snapshot;
use crate::workspace::Workspace;

static BUILT_IN: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/pipeline/protocols");

/// What an alert is made from beside the store.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Inputs {
    /// Text of `bractline.toml`.
    pub(super) settings: String,
    /// Text of each protocol file, by id.
    pub(super) protocols: BTreeMap<String, String>,
    /// Text of the user's own boundary file.
    pub(super) boundaries: Option<String>,
}

impl Inputs {
    /// Those of the workspace as it is.
    pub(super) fn of_now(workspace: &Workspace) -> Result<Inputs, Failure> {
        let boundaries = workspace.boundaries().map(|path| read(&path)).transpose()?;
        Ok(Inputs {
            settings: workspace.settings_text().to_owned(),
            protocols: protocol_texts(&workspace.protocols())?,
            boundaries,
        })
    }

    /// Those that an alert was made from.
    pub(super) fn of_alert(workspace: &Workspace, alert: &IssuedAlert) -> Result<Inputs, Failure> {
        let kept = alert.boundaries_sha256.as_ref().map(|sha256| {
            let text = read(&workspace.kept_boundaries(sha256))?;
            match sha256_of(text.as_bytes()) == *sha256 {
                true => Ok(text),
                false => Err(Failure::new(
                    Kind::Damaged,
                    format!(
                        "the boundaries of alert {} are not what they were",
                        alert.number
                    ),
                )
                .at(workspace.kept_boundaries(sha256).display().to_string())
                .mend("restore the workspace's folder alerts/boundaries from a backup")),
            }
        });
        Ok(Inputs {
            settings: alert.settings.clone(),
            protocols: alert.protocols.clone(),
            boundaries: kept.transpose()?,
        })
    }

    /// SHA-256 of the boundary file, hexadecimal.
    pub(super) fn boundaries_sha256(&self) -> Option<String> {
        self.boundaries
            .as_ref()
            .map(|text| sha256_of(text.as_bytes()))
    }

    /// Keeps the boundary file for later; what is kept already is left alone.
    pub(super) fn keep_boundaries(&self, workspace: &Workspace) -> Result<(), Failure> {
        let (Some(text), Some(sha256)) = (&self.boundaries, self.boundaries_sha256()) else {
            return Ok(());
        };
        let path = workspace.kept_boundaries(&sha256);
        match path.exists() {
            true => Ok(()),
            false => write_file(&path, text.as_bytes()),
        }
    }

    /// The counties.
    pub(super) fn region(&self, workspace: &Workspace) -> Result<Region, Failure> {
        let workspace = workspace.as_it_was(&self.settings)?;
        let region = &workspace.settings().region;
        match (&self.boundaries, workspace.boundaries()) {
            (Some(text), Some(path)) => Region::from_text(
                text,
                &path.display().to_string(),
                &region.id_property,
                &region.name_property,
            ),
            _ => Region::built_in(&region.boundaries),
        }
    }

    /// The catalogue with these protocols over the built-in ones.
    fn catalogue(&self) -> Result<Catalogue, Failure> {
        let folder = tempfile::tempdir().map_err(|error| {
            Failure::new(
                Kind::Files,
                format!("cannot make a temporary folder: {error}"),
            )
        })?;
        for (id, text) in &self.protocols {
            let path = folder.path().join(format!("{id}.toml"));
            std::fs::write(&path, text).map_err(|error| Failure::file("write", &path, &error))?;
        }
        Catalogue::read(Some(folder.path()))
    }

    /// The figures of a version of the store; of the newest if none is named.
    pub(super) async fn figures(
        &self,
        workspace: &Workspace,
        version: Option<i64>,
    ) -> Result<Figures, Failure> {
        let workspace = workspace.as_it_was(&self.settings)?;
        let store = open_store(&workspace).await?;
        let snapshot = match version {
            Some(version) => Snapshot::at(&store, version, workers()).await?,
            None => Snapshot::open(&store, workers()).await?,
        };
        let region = self.region(&workspace)?;
        Figures::at(&workspace, region, self.catalogue()?, &snapshot).await
    }
}

/// The built-in protocol files and, over them, those of a folder.
fn protocol_texts(own: &Path) -> Result<BTreeMap<String, String>, Failure> {
    let id_of = |path: &Path| {
        let is_toml = path.extension().is_some_and(|ending| ending == "toml");
        let stem = path.file_stem().and_then(|stem| stem.to_str());
        stem.filter(|_| is_toml).map(str::to_owned)
    };
    let mut texts = BTreeMap::new();
    for file in BUILT_IN.files() {
        if let (Some(id), Some(text)) = (id_of(file.path()), file.contents_utf8()) {
            texts.insert(id, text.to_owned());
        }
    }
    if !own.is_dir() {
        return Ok(texts);
    }
    let unreadable = |error| Failure::file("read", own, &error);
    for entry in own.read_dir().map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        if let Some(id) = id_of(&path) {
            texts.insert(id, read(&path)?);
        }
    }
    Ok(texts)
}

fn read(path: &Path) -> Result<String, Failure> {
    std::fs::read_to_string(path).map_err(|error| Failure::file("read", path, &error))
}

/// SHA-256, hexadecimal.
pub(super) fn sha256_of(bytes: &[u8]) -> String {
    let hash = Sha256::digest(bytes);
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}
