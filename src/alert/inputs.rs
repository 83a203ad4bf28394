//! All that an alert is made from, as text, so that it can be kept and used again: what is issued and what
//! is built again go through the same door.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use crate::figures::office::read_logo;
use crate::figures::rolled_up::{Figures, Sources};
use crate::shared::files::write_private_file;
use crate::workspace::Workspace;
use crate::workspace::open::{open_store, region_of, with_districts, workers};
use disclosure::editions::Published;
use scouting::failure::{Failure, Kind};
use scouting::plain_file::{BOUNDARIES_BYTES_MAX, WEATHER_BYTES_MAX, read_plain, read_plain_text};
use scouting::protocol::catalogue::{Catalogue, built_in_files};
use scouting::region::Region;
use store::alerts::issued_alert::IssuedAlert;
use store::delta::snapshot::{Snapshot, parts_that_pay};
use store::public::public_rows::Publishing;

/// What an alert is made from in addition to the store.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Inputs {
    /// Text of `bractline.toml`.
    pub(crate) settings: String,
    /// Text of each protocol file, by id.
    pub(crate) protocols: BTreeMap<String, String>,
    /// Text of the user's own boundary file.
    pub(crate) boundaries: Option<String>,
    /// The weather file.
    pub(crate) weather: Option<Vec<u8>>,
    /// The office's logo.
    pub(crate) logo: Option<Vec<u8>>,
}

impl Inputs {
    /// Those of the workspace as it is.
    pub(crate) fn of_now(workspace: &Workspace) -> Result<Inputs, Failure> {
        let boundaries = workspace.boundaries().map(|path| read(&path)).transpose()?;
        let weather = workspace
            .weather()
            .map(|path| read_bytes(&path))
            .transpose()?;
        Ok(Inputs {
            settings: workspace.settings_text().to_owned(),
            protocols: protocol_texts(&workspace.protocols())?,
            boundaries,
            weather,
            logo: read_logo(workspace)?,
        })
    }

    /// Those that an alert was made from.
    pub(crate) fn of_alert(workspace: &Workspace, alert: &IssuedAlert) -> Result<Inputs, Failure> {
        let boundaries = alert.boundaries_sha256.as_ref().map(|sha256| {
            let path = workspace.kept_boundaries(sha256);
            let bytes = read_kept(&path, sha256, alert.number)?;
            String::from_utf8(bytes).map_err(|error| changed(&path, alert.number).caused_by(error))
        });
        let weather = alert
            .weather_sha256
            .as_ref()
            .map(|sha256| read_kept(&workspace.kept_weather(sha256), sha256, alert.number));
        let logo = alert
            .logo_sha256
            .as_ref()
            .map(|sha256| read_kept(&workspace.kept_logo(sha256), sha256, alert.number));
        Ok(Inputs {
            settings: alert.settings.clone(),
            protocols: alert.protocols.clone(),
            boundaries: boundaries.transpose()?,
            weather: weather.transpose()?,
            logo: logo.transpose()?,
        })
    }

    /// SHA-256 of the boundary file, hexadecimal.
    pub(crate) fn boundaries_sha256(&self) -> Option<String> {
        self.boundaries
            .as_ref()
            .map(|text| sha256_of(text.as_bytes()))
    }

    /// SHA-256 of the weather file, hexadecimal.
    pub(crate) fn weather_sha256(&self) -> Option<String> {
        self.weather.as_deref().map(sha256_of)
    }

    /// SHA-256 of the logo, hexadecimal.
    pub(crate) fn logo_sha256(&self) -> Option<String> {
        self.logo.as_deref().map(sha256_of)
    }

    /// Keeps the boundary file, the weather file and the logo for later; what is kept already is left alone.
    pub(crate) fn keep_files(&self, workspace: &Workspace) -> Result<(), Failure> {
        if let (Some(text), Some(sha256)) = (&self.boundaries, self.boundaries_sha256()) {
            keep(&workspace.kept_boundaries(&sha256), text.as_bytes())?;
        }
        if let (Some(bytes), Some(sha256)) = (&self.weather, self.weather_sha256()) {
            keep(&workspace.kept_weather(&sha256), bytes)?;
        }
        if let (Some(bytes), Some(sha256)) = (&self.logo, self.logo_sha256()) {
            keep(&workspace.kept_logo(&sha256), bytes)?;
        }
        Ok(())
    }

    /// The counties.
    pub(crate) fn region(&self, workspace: &Workspace) -> Result<Region, Failure> {
        let workspace = workspace.as_it_was(&self.settings)?;
        let region = &workspace.settings().region;
        match (&self.boundaries, workspace.boundaries()) {
            (Some(text), Some(path)) => region_of(text, &path.display().to_string(), region),
            _ => with_districts(Region::built_in(&region.boundaries)?, region, None),
        }
    }

    /// The catalog with these protocols over the built-in ones.
    pub(crate) fn catalogue(&self) -> Result<Catalogue, Failure> {
        let folder = temporary_folder()?;
        for (id, text) in &self.protocols {
            let path = folder.path().join(format!("{id}.toml"));
            std::fs::write(&path, text).map_err(|error| Failure::file("write", &path, error))?;
        }
        Catalogue::read(Some(folder.path()), store::stages::expression::plan)
    }

    /// A version of the store rolled up, the newest if none is named, with what was public and is published now; keeps
    /// `also` of the private tables that a roll-up drops otherwise.
    pub(crate) async fn figures(
        &self,
        workspace: &Workspace,
        version: Option<i64>,
        published: &[Published],
        publishing: &Publishing,
        also: &[&str],
    ) -> Result<(Snapshot, Figures), Failure> {
        let workspace = workspace.as_it_was(&self.settings)?;
        let store = open_store(&workspace).await?;
        let parts = parts_that_pay(&store, workers()).await?;
        let snapshot = Snapshot::of(&store, version, parts).await?;
        let folder = temporary_folder()?;
        let weather = self.weather_file(&workspace, folder.path())?;
        let sources = Sources {
            region: self.region(&workspace)?,
            catalogue: self.catalogue()?,
            weather: weather.as_deref(),
            published,
            publishing,
            also,
        };
        let figures = Figures::at(&workspace, &snapshot, None, sources).await?;
        let figures = figures.with_logo(&workspace, self.logo.as_deref())?;
        Ok((snapshot, figures))
    }

    /// The weather file under its own name, by which a station without an id is known.
    fn weather_file(
        &self,
        workspace: &Workspace,
        folder: &Path,
    ) -> Result<Option<PathBuf>, Failure> {
        let own = workspace.weather();
        let name = own.as_deref().and_then(Path::file_name);
        let (Some(bytes), Some(name)) = (&self.weather, name) else {
            return Ok(None);
        };
        let path = folder.join(name);
        std::fs::write(&path, bytes).map_err(|error| Failure::file("write", &path, error))?;
        Ok(Some(path))
    }
}

fn temporary_folder() -> Result<tempfile::TempDir, Failure> {
    tempfile::tempdir()
        .map_err(|error| Failure::because(Kind::Files, "cannot make a temporary folder", error))
}

fn keep(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    match path.exists() {
        true => Ok(()),
        false => write_private_file(path, bytes),
    }
}

fn read_kept(path: &Path, sha256: &str, number: i64) -> Result<Vec<u8>, Failure> {
    let bytes = read_bytes(path)?;
    match sha256_of(&bytes) == *sha256 {
        true => Ok(bytes),
        false => Err(changed(path, number)),
    }
}

fn changed(path: &Path, number: i64) -> Failure {
    Failure::new(
        Kind::Damaged,
        format!("a file that alert {number} is based on has changed"),
    )
    .at(path.display().to_string())
    .mend("restore the workspace's folder alerts from a backup")
}

/// The built-in protocol files and, over them, those of a folder.
fn protocol_texts(own: &Path) -> Result<BTreeMap<String, String>, Failure> {
    let id_of = |path: &Path| {
        let is_toml = path.extension().is_some_and(|ending| ending == "toml");
        let stem = path.file_stem().and_then(|stem| stem.to_str());
        stem.filter(|_| is_toml).map(str::to_owned)
    };
    let mut texts = BTreeMap::new();
    for (place, text) in built_in_files()? {
        texts.extend(id_of(place).map(|id| (id, text.to_owned())));
    }
    if !own.is_dir() {
        return Ok(texts);
    }
    let unreadable = |error| Failure::file("read", own, error);
    for entry in own.read_dir().map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        if let Some(id) = id_of(&path) {
            texts.insert(id, read(&path)?);
        }
    }
    Ok(texts)
}

fn read_bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    read_plain(path, WEATHER_BYTES_MAX)
}

fn read(path: &Path) -> Result<String, Failure> {
    read_plain_text(path, BOUNDARIES_BYTES_MAX)
}

/// SHA-256, hexadecimal.
pub(crate) fn sha256_of(bytes: &[u8]) -> String {
    format!("{:x}", Sha256::digest(bytes))
}
