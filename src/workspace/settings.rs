//! What `bractline.toml` may say, each setting with its default. Whether the values make sense is checked in `checked_settings.rs`.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::credits::Creator;
use crate::shared::shown_numbers::Units;
use disclosure::rule::{Level, Rule};
use scouting::phenology::weather::TemperatureUnit;
use scouting::visit::code::Code;
use scouting::visit::record::Economics;
use scouting::visit::week::WeekStart;

/// Name of the settings file; a folder that holds it is a workspace.
pub(crate) const SETTINGS_FILE: &str = "bractline.toml";

/// What `bractline.toml` says.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Settings {
    /// The counties.
    pub region: RegionSettings,
    /// Where the tables are.
    #[serde(default)]
    pub store: StoreSettings,
    /// The days of the season.
    #[serde(default)]
    pub season: SeasonSettings,
    /// The days of a week.
    #[serde(default)]
    pub week: WeekSettings,
    /// What protects single farms.
    #[serde(default)]
    pub disclosure: DisclosureSettings,
    /// When a field is called at or below its threshold.
    #[serde(default)]
    pub calls: CallSettings,
    /// Economics by crop type, for records that lack them.
    #[serde(default)]
    pub defaults: BTreeMap<String, Economics>,
    /// Which flags hold a visit. Alerts issued by an earlier version have settings with the table `[doubts]`.
    #[serde(default, alias = "doubts")]
    pub flags: FlagSettings,
    /// What is particular to single senders, by their names.
    #[serde(default)]
    pub senders: BTreeMap<String, SenderSettings>,
    /// Temperatures, for the days of treatment.
    #[serde(default)]
    pub weather: WeatherSettings,
    /// Units in which people read amounts.
    #[serde(default)]
    pub units: UnitSettings,
    /// Who publishes.
    #[serde(default)]
    pub office: OfficeSettings,
    /// Where alerts are published.
    #[serde(default)]
    pub publish: PublishSettings,
    /// On which terms packages of the data are handed on.
    #[serde(default)]
    pub data: DataSettings,
}

/// Where the counties come from.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct RegionSettings {
    /// `us:46`, or the name of a file in the workspace.
    pub boundaries: String,
    /// Property of a county's id in that file.
    #[serde(default = "id_property")]
    pub id_property: String,
    /// Property of a county's name in that file.
    #[serde(default = "name_property")]
    pub name_property: String,
    /// Property of a county's district in that file; empty if it has none.
    #[serde(default)]
    pub district_property: String,
    /// Districts by name, each with the ids of its counties; they come before those of the boundary file.
    #[serde(default)]
    pub districts: BTreeMap<String, Vec<String>>,
}

/// Where the tables are.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct StoreSettings {
    /// `s3://bucket/prefix`; empty for the folder `store` of the workspace.
    pub place: String,
    /// Whether others than its owner may enter the folder `store`, as far as the workspace's own folder lets them.
    pub shared: bool,
}

/// First and last day of the season, `MM-DD`, both included.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct SeasonSettings {
    /// First day.
    pub first_day: String,
    /// Last day.
    pub last_day: String,
    /// Years whose visits are taken although they are submitted in a later season.
    pub earlier: Vec<i16>,
}

/// The day on which weeks start.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct WeekSettings {
    /// First day of a week.
    pub starts: WeekStart,
}

/// What is published of how many fields.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct DisclosureSettings {
    /// How much a public row says.
    pub level: Level,
    /// Fewest fields of a public row.
    pub min_fields: u32,
    /// Fewest farms of a public row.
    pub min_farms: u32,
    /// Fewest fields of a public row in a season in which no visit names a farm.
    pub min_fields_without_farms: u32,
    /// Published points are moved to a grid of this width, kilometers.
    pub point_grid_km: f64,
}

/// When a field is called at or below its threshold.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct CallSettings {
    /// The probability from which on a call is made; a field between it and its complement is undetermined.
    pub certainty: f64,
}

impl Default for CallSettings {
    fn default() -> CallSettings {
        CallSettings { certainty: 0.9 }
    }
}

/// What becomes of flagged visits.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct FlagSettings {
    /// Codes of the flags that hold a visit; the others only mark it.
    pub hold: Vec<Code>,
}

/// What is particular to one sender.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct SenderSettings {
    /// Put before the ids of its fields; empty for nothing.
    pub field_prefix: String,
    /// Put before the ids of its scouts; empty for nothing.
    pub scout_prefix: String,
}

/// Where daily temperatures come from.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct WeatherSettings {
    /// Name of a weather file in the workspace.
    pub file: Option<String>,
    /// Unit of columns `tmin` and `tmax` that do not say theirs.
    pub temperature_unit: Option<TemperatureUnit>,
    /// County id → station id; `*` represents every other county.
    pub stations: BTreeMap<String, String>,
    /// Day from which the heat of a season is summed, `MM-DD`.
    pub heat_from: String,
}

/// Units in which people read amounts; tables and files keep hectares, kilograms and °C.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct UnitSettings {
    /// US customary or metric.
    pub system: Units,
}

/// Who publishes the alert.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct OfficeSettings {
    /// Name of the office.
    pub name: String,
    /// How to reach it.
    pub contact: String,
    /// What it prints at the foot of its alerts; may be empty.
    pub footer: String,
    /// Name of an SVG or PNG file in the workspace; empty for no logo.
    pub logo: String,
}

/// Where and as what issued alerts are published.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct PublishSettings {
    /// Address of the public folder; empty if links shall be relative.
    pub base_url: String,
    /// Title of the list and the feed.
    pub title: String,
    /// Who publishes; empty for the office's name.
    pub author: String,
}

/// On which terms packages of the data are handed on.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct DataSettings {
    /// Identifier of the license; empty if it is not stated.
    pub license: String,
    /// Where its text is; may be empty.
    pub license_url: String,
    /// DOI of the packages; empty if there is none.
    pub doi: String,
    /// Who funded the work; may be empty.
    pub funder: String,
    /// Number of the grant; may be empty.
    pub award: String,
    /// Authors; none if the office is the author.
    pub creators: Vec<Creator>,
}

impl Default for SeasonSettings {
    fn default() -> Self {
        SeasonSettings {
            first_day: "06-01".to_owned(),
            last_day: "09-30".to_owned(),
            earlier: Vec::new(),
        }
    }
}

impl Default for DisclosureSettings {
    fn default() -> Self {
        DisclosureSettings {
            level: Rule::LEAST.level,
            min_fields: Rule::LEAST.min_fields,
            min_farms: Rule::LEAST.min_farms,
            min_fields_without_farms: Rule::LEAST.min_fields_without_farms,
            point_grid_km: 10.0,
        }
    }
}

impl DisclosureSettings {
    /// The rule that they ask for.
    pub(crate) fn rule(&self) -> Rule {
        Rule {
            level: self.level,
            min_fields: self.min_fields,
            min_farms: self.min_farms,
            min_fields_without_farms: self.min_fields_without_farms,
        }
    }
}

impl Default for WeatherSettings {
    fn default() -> Self {
        WeatherSettings {
            file: None,
            temperature_unit: None,
            stations: BTreeMap::new(),
            heat_from: "01-01".to_owned(),
        }
    }
}

fn id_property() -> String {
    "GEOID".to_owned()
}

fn name_property() -> String {
    "NAME".to_owned()
}
