//! The catalogue of protocols: reads and checks the TOML files.
//!
//! It knows what a protocol says; what its threshold expression computes is in
//! [`super::threshold`].

use std::collections::BTreeMap;
use std::path::Path;

use include_dir::{Dir, include_dir};
use serde::Deserialize;

use crate::failure::{Failure, Kind};
use crate::heat::development::Development;
use crate::visit::economics::CompleteEconomics;
use crate::visit::record::CountForm;
use crate::visit::rules::Limits;
use crate::visit::stage::Stage;

static BUILT_IN: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/pipeline/protocols");

/// Every protocol by its id.
#[derive(Debug, Clone)]
pub struct Catalogue {
    protocols: BTreeMap<String, Protocol>,
}

/// One protocol, as its file says it.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Protocol {
    /// The file's name without `.toml`.
    #[serde(skip)]
    pub id: String,
    /// Pest and method, for headings.
    pub title: String,
    /// Scientific name, with synonyms.
    pub pest: String,
    /// The crop.
    pub crop: String,
    /// What a unit's total is: `eggs per six bracts of a bud`.
    pub counted: String,
    /// Whether sites lie along the edge or in the interior; the two are never pooled.
    pub layout: Layout,
    /// Crop types that a record may name.
    pub crop_types: Vec<String>,
    /// The sample plan.
    pub sample: Sample,
    /// The stage window.
    pub stages: StageWindow,
    /// The threshold.
    pub threshold: Threshold,
    /// When treatment works.
    pub timing: Timing,
    /// How crop and pest develop, where it is published.
    pub development: Option<Development>,
    /// Plausible amounts.
    pub plausible: Plausible,
    /// What the protocol adds to the standing cautions.
    #[serde(default, rename = "caution")]
    pub cautions: Vec<Caution>,
    /// Worked values that the protocol must give, at least one.
    #[serde(rename = "check")]
    pub checks: Vec<Check>,
}

/// Where in a field the sites lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Layout {
    /// Along the sides.
    Edge,
    /// Well inside.
    Interior,
}

/// How a field is sampled.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sample {
    /// The form of the counts.
    pub form: CountForm,
    /// Counts of a unit, where the protocol fixes it.
    pub counts_per_unit: Option<usize>,
    /// Units of a full site.
    pub units_per_site: usize,
    /// Sites of a full sample.
    pub sites_min: usize,
    /// The plan in words.
    pub plan: String,
    /// Where the plan comes from.
    pub source: String,
}

/// The crop stages in which the count means something, both included.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StageWindow {
    /// First stage.
    pub first: String,
    /// Last stage.
    pub last: String,
    /// Where the window comes from.
    pub source: String,
}

/// At what density treating pays.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Threshold {
    /// `economic injury level` or `economic threshold`: which of the two it is.
    pub kind: String,
    /// SQL scalar expression over the canonical columns, in the unit of the field mean.
    pub expression: String,
    /// The same in words.
    pub formula: String,
    /// Where it comes from.
    pub source: String,
}

/// When treatment works.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Timing {
    /// Crop stage of treatment.
    pub treat_at: String,
    /// The timing in words.
    pub treat: String,
    /// Days from laying to hatching, low and high.
    pub hatch_days: Option<[u16; 2]>,
    /// Where it comes from.
    pub source: String,
}

/// Bounds beyond which an amount is held, low and high.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plausible {
    /// ISO 4217 code of the bounds.
    pub currency: String,
    /// Money per acre.
    pub treatment_cost_per_acre: [f64; 2],
    /// Money per pound.
    pub market_value_per_lb: [f64; 2],
    /// Plants per acre.
    pub plants_per_acre: [f64; 2],
    /// Hectares.
    pub area_ha: [f64; 2],
}

/// A caution of the protocol's own.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Caution {
    /// One sentence.
    pub text: String,
    /// Where it comes from.
    pub source: String,
}

/// A worked value of a source.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Check {
    /// Where the value is printed, or how it was computed.
    pub source: String,
    /// The economics that go in.
    pub given: CompleteEconomics,
    /// The threshold that must come out.
    pub expect: f64,
    /// How far from it is still right.
    pub tolerance: f64,
}

impl Catalogue {
    /// The built-in protocols and, over them, those in a workspace's own folder if it is there.
    pub fn read(own: Option<&Path>) -> Result<Catalogue, Failure> {
        let mut protocols = BTreeMap::new();
        for file in BUILT_IN.files() {
            let place = file.path();
            let text = file
                .contents_utf8()
                .ok_or_else(|| refused(place, "it is not UTF-8"))?;
            let protocol = Protocol::read(text, place)?;
            protocols.insert(protocol.id.clone(), protocol);
        }
        for place in own.map(toml_files).transpose()?.unwrap_or_default() {
            let text = std::fs::read_to_string(&place)
                .map_err(|error| Failure::file("read", &place, &error))?;
            let protocol = Protocol::read(&text, &place)?;
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

impl Protocol {
    /// Reads a protocol from the text of its file.
    pub fn read(text: &str, place: &Path) -> Result<Protocol, Failure> {
        let mut protocol: Protocol = toml::from_str(text).map_err(|error| {
            let line = Failure::line_of(place, text, error.span().map_or(0, |span| span.start));
            unusable(format!("{line}: {}", error.message()))
        })?;
        protocol.id = place
            .file_stem()
            .and_then(|name| name.to_str())
            .ok_or_else(|| refused(place, "its name is not UTF-8"))?
            .to_owned();
        protocol.checked(place)
    }

    fn checked(self, place: &Path) -> Result<Protocol, Failure> {
        let window = self.window().ok_or_else(|| {
            refused(
                place,
                "[stages] first and last must be stages of the scale, VE to R9",
            )
        })?;
        if window.0 > window.1 {
            return Err(refused(place, "[stages] first comes after last"));
        }
        if self.checks.is_empty() {
            return Err(refused(
                place,
                "it has no [[check]]: a protocol carries worked values",
            ));
        }
        let plausible = &self.plausible;
        let bounds = [
            ("treatment_cost_per_acre", plausible.treatment_cost_per_acre),
            ("market_value_per_lb", plausible.market_value_per_lb),
            ("plants_per_acre", plausible.plants_per_acre),
            ("area_ha", plausible.area_ha),
        ];
        match bounds
            .iter()
            .find(|(_, [low, high])| !(0.0 < *low && low < high))
        {
            Some((name, _)) => Err(refused(
                place,
                &format!("[plausible] {name} must be [low, high], 0 < low < high"),
            )),
            None => Ok(self),
        }
    }

    /// First and last place of the stage window on the common order of stages.
    pub fn window(&self) -> Option<(i32, i32)> {
        let first = Stage::parse(&self.stages.first)?;
        let last = Stage::parse(&self.stages.last)?;
        Some((first.first_place(), last.last_place()))
    }

    /// What the trade rules need of the protocol.
    pub fn limits(&self) -> Limits {
        let pair = |[low, high]: [f64; 2]| (low, high);
        Limits {
            protocol: self.id.clone(),
            count_form: self.sample.form,
            counts_per_unit: self.sample.counts_per_unit,
            sites_min: self.sample.sites_min,
            units_per_site_min: self.sample.units_per_site,
            crop_types: self.crop_types.clone(),
            currency: self.plausible.currency.clone(),
            treatment_cost_per_acre: pair(self.plausible.treatment_cost_per_acre),
            market_value_per_lb: pair(self.plausible.market_value_per_lb),
            plants_per_acre: pair(self.plausible.plants_per_acre),
            area_ha: pair(self.plausible.area_ha),
        }
    }
}

fn toml_files(folder: &Path) -> Result<Vec<std::path::PathBuf>, Failure> {
    if !folder.is_dir() {
        return Ok(Vec::new());
    }
    let unreadable = |error| Failure::file("read", folder, &error);
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

fn refused(place: &Path, reason: &str) -> Failure {
    unusable(format!("{}: {reason}", place.display()))
}

fn unusable(place_and_reason: String) -> Failure {
    Failure::new(Kind::Protocol, "cannot use a protocol file")
        .at(place_and_reason)
        .mend("mend the file; pipeline/protocols/bsm-eggs.toml is a complete example")
}
