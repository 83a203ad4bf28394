//! The workspace: finds and checks `bractline.toml`, and alone knows where files are.

pub(crate) mod bucket;
pub(crate) mod care;
pub(crate) mod contacts;
mod first_settings;
pub(crate) mod init;
pub(crate) mod open;
mod settings;
mod store_folder;
pub(crate) mod vacuum;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use first_settings::settings_text;

use disclosure::rule::Rule;
use scouting::failure::{Failure, Kind};
use scouting::plain_file::{SETTINGS_BYTES_MAX, read_plain_text};
use scouting::region::point_grid::GridWidth;
use scouting::visit::doubts::CODES;
use scouting::visit::rules::SeasonDays;

pub use settings::{RegionSettings, Settings};

/// Name of the settings file; a folder that holds it is a workspace.
pub const SETTINGS_FILE: &str = "bractline.toml";
/// Name of the user's own boundary file within the workspace.
const BOUNDARIES_FILE: &str = "boundaries.json";
/// Name of the folder of the kept tables within the workspace.
const STORE_FOLDER: &str = "store";
/// How the names of folders begin that hold tables between stages; one is left when a roll-up is killed.
pub const BETWEEN_STAGES_START: &str = ".between-stages-";

/// A workspace on the disk, with its settings.
#[derive(Debug, Clone)]
pub struct Workspace {
    folder: PathBuf,
    settings: Settings,
    settings_text: String,
}

impl Workspace {
    /// Makes a workspace in a folder that is empty or not there yet. With `boundaries` the text of the
    /// user's own file is kept next to the settings. `store_place` is that of [`StoreSettings`].
    pub fn create(
        folder: &Path,
        region: &RegionSettings,
        boundaries: Option<&str>,
        store_place: &str,
    ) -> Result<Workspace, Failure> {
        let unwritable = |error| Failure::file("make the workspace", folder, &error);
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
    pub fn open(folder: &Path) -> Result<Workspace, Failure> {
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
                "name one with --workspace DIR, or make one: bractline init DIR --region us:46",
            ));
        }
        let text = read_plain_text(&place, SETTINGS_BYTES_MAX)?;
        Workspace::with_text(folder, text, &place)
    }

    /// The same folder as its settings were at a time; the store is where it is now.
    pub fn as_it_was(&self, settings_text: &str) -> Result<Workspace, Failure> {
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
                .mend("mend the line; `bractline init` writes every setting with its default")
        })?;
        let workspace = Workspace {
            folder: folder.to_owned(),
            settings,
            settings_text: text,
        };
        workspace.season()?;
        workspace.heat_from()?;
        workspace.check_disclosure()?;
        workspace.check_doubts()?;
        workspace.check_defaults()?;
        workspace.check_publish()?;
        workspace.check_data()?;
        Ok(workspace)
    }

    /// The settings.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// The text of `bractline.toml` as it was read.
    pub fn settings_text(&self) -> &str {
        &self.settings_text
    }

    /// The workspace's folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The folder of the kept tables, where the settings name no other place.
    pub fn store(&self) -> PathBuf {
        self.folder.join(STORE_FOLDER)
    }

    /// Opens the folder of the store to whom the workspace's own folder is open to, where the settings say
    /// that the store is shared.
    ///
    /// # Errors
    /// A [`Failure`] if its permissions cannot be read or set.
    pub fn share_store(&self) -> Result<(), Failure> {
        let store = self.store();
        if !self.settings.store.shared || !store.is_dir() {
            return Ok(());
        }
        store_folder::share(&store, &self.folder)
            .map_err(|error| Failure::file("set permissions of", &store, &error))
    }

    /// The folder of the workspace's own protocols.
    pub fn protocols(&self) -> PathBuf {
        self.folder.join("protocols")
    }

    /// A new folder for tables between stages, gone when it is dropped; nobody else may look into it.
    #[cfg(feature = "cluster")]
    pub fn between_stages(&self) -> Result<tempfile::TempDir, Failure> {
        let folder = tempfile::Builder::new()
            .prefix(BETWEEN_STAGES_START)
            .tempdir_in(&self.folder);
        folder.map_err(|error| Failure::file("make a folder in", &self.folder, &error))
    }

    /// The folder of the alerts.
    pub fn alerts(&self) -> PathBuf {
        self.folder.join("alerts")
    }

    /// The weather file, if the settings name one.
    pub fn weather(&self) -> Option<PathBuf> {
        let file = self.settings.weather.file.as_ref()?;
        Some(self.folder.join(file))
    }

    /// The folder of the issued alerts, one a number.
    pub fn issued(&self) -> PathBuf {
        self.alerts().join("issued")
    }

    /// Where the boundary file that an issued alert rests on is kept.
    pub fn kept_boundaries(&self, sha256: &str) -> PathBuf {
        self.alerts()
            .join("boundaries")
            .join(format!("{sha256}.json"))
    }

    /// Where the weather file that an issued alert rests on is kept.
    pub fn kept_weather(&self, sha256: &str) -> PathBuf {
        self.alerts().join("weather").join(sha256)
    }

    /// The user's own boundary file, if the region is not a built-in one.
    pub fn boundaries(&self) -> Option<PathBuf> {
        let boundaries = &self.settings.region.boundaries;
        (!boundaries.starts_with("us:")).then(|| self.folder.join(boundaries))
    }

    /// The days of the season.
    pub fn season(&self) -> Result<SeasonDays, Failure> {
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
    pub fn grid_width(&self) -> Result<GridWidth, Failure> {
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
    pub fn heat_from(&self) -> Result<(i8, i8), Failure> {
        day_of_year("[weather] heat_from", &self.settings.weather.heat_from)
    }

    /// Form and range alone; whether an amount is plausible a protocol says, when the defaults are used.
    fn check_defaults(&self) -> Result<(), Failure> {
        let mut defaults = self.settings.defaults.iter();
        defaults
            .find(|(_, economics)| !economics.conforms())
            .map_or(Ok(()), |(crop_type, _)| {
                Err(Failure::new(
                    Kind::Settings,
                    format!(
                        "[defaults.{crop_type}] has an amount or a currency that no record may have"
                    ),
                )
                .at(SETTINGS_FILE)
                .mend("write amounts above 0, and currencies as three capital letters: USD"))
            })
    }

    fn check_publish(&self) -> Result<(), Failure> {
        let base_url = &self.settings.publish.base_url;
        let is_folder = base_url.starts_with("https://") || base_url.starts_with("http://");
        match base_url.is_empty() || (is_folder && base_url.ends_with('/')) {
            true => Ok(()),
            false => Err(Failure::new(
                Kind::Settings,
                format!("[publish] base_url = {base_url:?} is no address of a folder"),
            )
            .at(SETTINGS_FILE)
            .mend("write it from https:// to its last slash: https://example.org/alerts/")),
        }
    }

    fn check_data(&self) -> Result<(), Failure> {
        let data = &self.settings.data;
        let is_name = |c: char| c.is_ascii_alphanumeric() || "-._".contains(c);
        let is_address = |url: &str| url.starts_with("https://") || url.starts_with("http://");
        let wrong = |what: String, mend: &str| {
            let failure = Failure::new(Kind::Settings, format!("[data] {what}"));
            Err(failure.at(SETTINGS_FILE).mend(mend))
        };
        if !data.license.chars().all(is_name) {
            let what = format!("license = {:?} is no identifier", data.license);
            return wrong(
                what,
                "write the identifier of SPDX, such as CC-BY-4.0, and its address in license_url",
            );
        }
        let url = &data.license_url;
        if !url.is_empty() && (!is_address(url) || data.license.is_empty()) {
            let what = format!("license_url = {url:?} is no address, or there is no license to it");
            return wrong(
                what,
                "write license, and where its text is from https:// on",
            );
        }
        Ok(())
    }

    fn check_doubts(&self) -> Result<(), Failure> {
        let held = &self.settings.doubts.hold;
        let unknown = held.iter().find(|code| !CODES.contains(code));
        unknown.map_or(Ok(()), |code| {
            Err(Failure::new(
                Kind::Settings,
                format!("[doubts] hold names {:?}, which is no doubt", code.as_str()),
            )
            .at(SETTINGS_FILE)
            .mend(format!("the doubts are {}", CODES.join(", "))))
        })
    }

    fn check_disclosure(&self) -> Result<(), Failure> {
        let disclosure = &self.settings.disclosure;
        let least = Rule::LEAST;
        for (name, value, least) in [
            ("min_fields", disclosure.min_fields, least.min_fields),
            ("min_farms", disclosure.min_farms, least.min_farms),
            (
                "min_fields_without_farms",
                disclosure.min_fields_without_farms,
                least.min_fields_without_farms,
            ),
        ] {
            if value < least {
                let what = format!("[disclosure] {name} = {value} is too small");
                return Err(Failure::new(Kind::Settings, what)
                    .at(SETTINGS_FILE)
                    .mend(format!(
                        "write {least} or more: these settings can be raised, not lowered"
                    )));
            }
        }
        Ok(())
    }
}

/// The settings of a region that the user brought.
pub fn own_region(id_property: &str, name_property: &str) -> RegionSettings {
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

fn day_of_year(name: &str, text: &str) -> Result<(i8, i8), Failure> {
    // 2024 is a leap year, so that 02-29 is a day.
    format!("2024-{text}")
        .parse::<jiff::civil::Date>()
        .ok()
        .filter(|_| text.len() == 5)
        .map(|day| (day.month(), day.day()))
        .ok_or_else(|| {
            Failure::new(Kind::Settings, format!("{name} = {text:?} is not a day"))
                .at(SETTINGS_FILE)
                .mend("write month and day, as 06-01")
        })
}
