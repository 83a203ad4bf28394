//! The workspace: finds and checks `bractline.toml`, and alone knows where files are.

pub(crate) mod bucket;
pub(crate) mod care;
mod checked_settings;
pub(crate) mod contacts;
mod credits;
mod first_settings;
pub(crate) mod init;
pub(crate) mod open;
mod settings;
mod store_folder;
pub(crate) mod vacuum;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use checked_settings::{check_settings, day_of_year};
use first_settings::settings_text;

use scouting::failure::{Failure, Kind};
use scouting::plain_file::{SETTINGS_BYTES_MAX, read_plain_text};
use scouting::region::point_grid::GridWidth;
use scouting::visit::rules::limits::SeasonDays;

pub(crate) use credits::Creator;
pub(crate) use settings::{DataSettings, RegionSettings, SETTINGS_FILE, Settings};

/// Name of the user's own boundary file within the workspace.
const BOUNDARIES_FILE: &str = "boundaries.json";
/// Name of the folder of the kept tables within the workspace.
const STORE_FOLDER: &str = "store";
/// How the names of folders begin that hold tables between stages; one is left when a roll-up is killed.
pub(crate) const BETWEEN_STAGES_START: &str = ".between-stages-";

/// A workspace on the disk, with its settings.
#[derive(Debug, Clone)]
pub(crate) struct Workspace {
    folder: PathBuf,
    settings: Settings,
    settings_text: String,
}

impl Workspace {
    /// Makes a workspace in a folder that is empty or not there yet. With `boundaries` the text of the
    /// user's own file is kept next to the settings. `store_place` is that of [`StoreSettings`].
    pub(crate) fn create(
        folder: &Path,
        region: &RegionSettings,
        boundaries: Option<&str>,
        store_place: &str,
    ) -> Result<Workspace, Failure> {
        let unwritable = |error| Failure::file("make the workspace", folder, error);
        std::fs::create_dir_all(folder).map_err(unwritable)?;
        if folder.read_dir().map_err(unwritable)?.next().is_some() {
            return Err(Failure::new(
                Kind::Files,
                format!(
                    "cannot make a workspace in {}: it is not empty",
                    folder.display()
                ),
            )
            .mend("name a new folder"));
        }
        if let Some(text) = boundaries {
            std::fs::write(folder.join(BOUNDARIES_FILE), text).map_err(unwritable)?;
        }
        std::fs::create_dir(folder.join("protocols")).map_err(unwritable)?;
        if store_place.is_empty() {
            store_folder::make(&folder.join(STORE_FOLDER)).map_err(unwritable)?;
        }
        // The settings come last: with them the folder becomes a workspace.
        std::fs::write(
            folder.join(SETTINGS_FILE),
            settings_text(region, store_place),
        )
        .map_err(unwritable)?;
        Workspace::open(folder)
    }

    /// Opens the workspace in a folder.
    pub(crate) fn open(folder: &Path) -> Result<Workspace, Failure> {
        let place = folder.join(SETTINGS_FILE);
        let is_missing = |error: std::io::Error| error.kind() == std::io::ErrorKind::NotFound;
        if place.symlink_metadata().is_err_and(is_missing) {
            return Err(Failure::new(
                Kind::Files,
                format!(
                    "{} is not a workspace: it has no {SETTINGS_FILE}",
                    folder.display()
                ),
            )
            .mend(
                "name one with --workspace DIR, or create one: bractline init DIR --region us:46",
            ));
        }
        let text = read_plain_text(&place, SETTINGS_BYTES_MAX)?;
        Workspace::with_text(folder, text, &place)
    }

    /// The same folder as its settings were at a time; the store is where it is now.
    pub(crate) fn as_it_was(&self, settings_text: &str) -> Result<Workspace, Failure> {
        let place = Path::new(SETTINGS_FILE);
        let mut was = Workspace::parsed(&self.folder, settings_text.to_owned(), place)?;
        was.settings.store = self.settings.store.clone();
        Ok(was)
    }

    fn with_text(folder: &Path, text: String, place: &Path) -> Result<Workspace, Failure> {
        let workspace = Workspace::parsed(folder, text, place)?;
        // Not asked of settings as they were: an alert that an earlier version issued may have another width.
        workspace.grid_width()?;
        Ok(workspace)
    }

    fn parsed(folder: &Path, text: String, place: &Path) -> Result<Workspace, Failure> {
        let settings: Settings = toml::from_str(&text).map_err(|error| {
            Failure::new(Kind::Settings, format!("cannot use {}", place.display()))
                .at(toml_error(place, &text, &error))
                .mend("correct the line; `bractline init` writes every setting with its default")
                .caused_by(error)
        })?;
        let workspace = Workspace {
            folder: folder.to_owned(),
            settings,
            settings_text: text,
        };
        workspace.season()?;
        workspace.heat_from()?;
        check_settings(&workspace.settings)?;
        Ok(workspace)
    }

    /// The settings.
    pub(crate) fn settings(&self) -> &Settings {
        &self.settings
    }

    /// The text of `bractline.toml` as it was read.
    pub(crate) fn settings_text(&self) -> &str {
        &self.settings_text
    }

    /// The workspace's folder.
    pub(crate) fn folder(&self) -> &Path {
        &self.folder
    }

    /// The folder of the kept tables, where the settings name no other place.
    pub(crate) fn store(&self) -> PathBuf {
        self.folder.join(STORE_FOLDER)
    }

    /// Opens the folder of the store to whom the workspace's own folder is open to, where the settings say
    /// that the store is shared.
    ///
    /// # Errors
    /// A [`Failure`] if its permissions cannot be read or set.
    pub(crate) fn share_store(&self) -> Result<(), Failure> {
        let store = self.store();
        if !self.settings.store.shared || !store.is_dir() {
            return Ok(());
        }
        store_folder::share(&store, &self.folder)
            .map_err(|error| Failure::file("set permissions of", &store, error))
    }

    /// The folder of the workspace's own protocols.
    pub(crate) fn protocols(&self) -> PathBuf {
        self.folder.join("protocols")
    }

    /// A new folder for tables between stages, gone when it is dropped; nobody else may look into it.
    #[cfg(feature = "cluster")]
    pub(crate) fn between_stages(&self) -> Result<tempfile::TempDir, Failure> {
        let folder = tempfile::Builder::new()
            .prefix(BETWEEN_STAGES_START)
            .tempdir_in(&self.folder);
        folder.map_err(|error| Failure::file("make a folder in", &self.folder, error))
    }

    /// The folder of the alerts.
    pub(crate) fn alerts(&self) -> PathBuf {
        self.folder.join("alerts")
    }

    /// The weather file, if the settings name one.
    pub(crate) fn weather(&self) -> Option<PathBuf> {
        let file = self.settings.weather.file.as_ref()?;
        Some(self.folder.join(file))
    }

    /// The folder of the issued alerts, one a number.
    pub(crate) fn issued(&self) -> PathBuf {
        self.alerts().join("issued")
    }

    /// Where the boundary file that an issued alert is based on is kept.
    pub(crate) fn kept_boundaries(&self, sha256: &str) -> PathBuf {
        self.alerts()
            .join("boundaries")
            .join(format!("{sha256}.json"))
    }

    /// Where the weather file that an issued alert is based on is kept.
    pub(crate) fn kept_weather(&self, sha256: &str) -> PathBuf {
        self.alerts().join("weather").join(sha256)
    }

    /// The office's logo, if the settings name one.
    pub(crate) fn logo(&self) -> Option<PathBuf> {
        let file = &self.settings.office.logo;
        (!file.is_empty()).then(|| self.folder.join(file))
    }

    /// Where the logo that an issued alert shows is kept.
    pub(crate) fn kept_logo(&self, sha256: &str) -> PathBuf {
        self.alerts().join("logos").join(sha256)
    }

    /// The user's own boundary file, if the region is not a built-in one.
    pub(crate) fn boundaries(&self) -> Option<PathBuf> {
        let boundaries = &self.settings.region.boundaries;
        (!boundaries.starts_with("us:")).then(|| self.folder.join(boundaries))
    }

    /// The days of the season.
    pub(crate) fn season(&self) -> Result<SeasonDays, Failure> {
        let season = &self.settings.season;
        Ok(SeasonDays {
            first: day_of_year("[season] first_day", &season.first_day)?,
            last: day_of_year("[season] last_day", &season.last_day)?,
        })
    }

    /// Width of the grid of published points.
    ///
    /// # Errors
    /// A [`Failure`] if the setting is none of the widths that nest.
    pub(crate) fn grid_width(&self) -> Result<GridWidth, Failure> {
        let km = self.settings.disclosure.point_grid_km;
        GridWidth::of_km(km).ok_or_else(|| {
            Failure::new(
                Kind::Settings,
                format!("[disclosure] point_grid_km = {km} is not a width of the grid"),
            )
            .at(SETTINGS_FILE)
            .mend(
                "write 5, 10, 20 or 40: cells of these widths nest, so points published in two of them cannot be \
                 combined to find a field; 5 km is the least",
            )
        })
    }

    /// Month and day from which the heat of a season is summed.
    pub(crate) fn heat_from(&self) -> Result<(i8, i8), Failure> {
        day_of_year("[weather] heat_from", &self.settings.weather.heat_from)
    }
}

/// The settings of a region that the user brought.
pub(crate) fn own_region(id_property: &str, name_property: &str) -> RegionSettings {
    RegionSettings {
        boundaries: BOUNDARIES_FILE.to_owned(),
        id_property: id_property.to_owned(),
        name_property: name_property.to_owned(),
        district_property: String::new(),
        districts: BTreeMap::new(),
    }
}

fn toml_error(place: &Path, text: &str, error: &toml::de::Error) -> String {
    let line = Failure::line_of(place, text, error.span().map_or(0, |span| span.start));
    format!("{line}: {}", error.message())
}
