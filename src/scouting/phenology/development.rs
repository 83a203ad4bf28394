//! Development models as data: the `[development]` tables of a protocol file, read and checked. It computes no
//! date: that is [`super::spray_window`].
//!
//! ```toml
//! [development.crop]
//! base_c = 6.7
//! method = "average-then-base"
//! from = "planting"
//! source = "Manitoba Agriculture, Food and Rural Development 2014"
//! stages = { R2 = 647, R3 = 726, R4 = 805, "R5.1" = 883 }
//!
//! [development.hatch]
//! days = [5, 8]
//! source = "standard practice; no published source"
//!
//! [development.without_weather]
//! days_to_treatment = { R2 = [9, 23], R3 = [4, 16] }
//! source = "computed from [development.crop] at a mean temperature of 17 to 24 °C"
//! ```
//!
//! What is not known is not made up. For the banded sunflower moth the published heat sums (Barker and
//! co-author 1993, J. Kansas Entomol. Soc. 66(4):420–426: base 11.1 °C and 298.4 degree-days for all stages
//! before diapause together) give none from egg to hatch, and no heat model of its flight that was tried in fields was found;
//! its hatch is a range of days.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::degree_days::{HeatRule, Method};
use crate::visit::stage::Stage;

/// What a protocol file says of development. Each part may be absent.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Development {
    /// Heat to the crop's stages.
    pub crop: Option<CropModel>,
    /// From the laying of an egg to its hatch, where eggs are counted.
    pub hatch: Option<HatchModel>,
    /// Days to treatment where there is no weather.
    pub without_weather: Option<WithoutWeather>,
}

/// The heat that brings a crop to its stages.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(try_from = "CropTable")]
pub struct CropModel {
    /// How heat is counted.
    pub rule: HeatRule,
    /// From where the sums count: `planting`, or a stage. Dates come from differences of the sums, so that a
    /// field needs no planting date.
    pub from: String,
    /// Where the model is published.
    pub source: String,
    /// Stages in the order of growth, and degree-days (°C) from `from` until a plant enters each.
    stages: Vec<(Stage, f64)>,
}

/// From laying to hatch.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(try_from = "HatchTable")]
pub struct HatchModel {
    /// How long it takes.
    pub span: HatchSpan,
    /// Where that is published.
    pub source: String,
}

/// How long an egg takes, shortest and longest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum HatchSpan {
    /// Days.
    Days([u16; 2]),
    /// Degree-days (°C).
    Heat {
        /// How heat is counted.
        rule: HeatRule,
        /// Least and most.
        degree_days: [f64; 2],
    },
}

/// Day ranges from an observed stage to the treatment stage.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(try_from = "WithoutWeatherTable")]
pub struct WithoutWeather {
    /// Where the ranges come from.
    pub source: String,
    ranges: Vec<(Stage, [u16; 2])>,
}

impl CropModel {
    /// Degree-days from the model's beginning until a plant enters a stage of the table.
    pub fn heat_until(&self, stage: Stage) -> Option<f64> {
        let found = self.stages.iter().find(|(tabled, _)| *tabled == stage);
        found.map(|(_, heat)| *heat)
    }

    /// Least and most heat that a field in an observed stage can have had: from the entry into the last tabled
    /// stage that is not beyond it, to the entry into the first that is. None outside of the table.
    pub fn heat_of(&self, observed: Stage) -> Option<[f64; 2]> {
        let mut tabled = self.stages.iter();
        let entered = tabled
            .clone()
            .rev()
            .find(|(stage, _)| stage.first_place() <= observed.first_place())?;
        let left = tabled.find(|(stage, _)| stage.first_place() > observed.last_place())?;
        Some([entered.1, left.1])
    }

    /// Least and most heat from an observed stage to a tabled one; both 0 or below once it is reached.
    pub fn heat_to(&self, observed: Stage, target: Stage) -> Option<[f64; 2]> {
        let target = self.heat_until(target)?;
        let [least, most] = self.heat_of(observed)?;
        Some([target - most, target - least])
    }
}

impl WithoutWeather {
    /// Fewest and most days from an observed stage to the treatment stage.
    pub fn days_from(&self, observed: Stage) -> Option<[u16; 2]> {
        let covers = |stage: Stage| {
            stage.first_place() <= observed.first_place()
                && observed.last_place() <= stage.last_place()
        };
        let found = self.ranges.iter().find(|(stage, _)| covers(*stage));
        found.map(|(_, days)| *days)
    }
}

// --- The tables as they are written --------------------------------------------------------------

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CropTable {
    base_c: f64,
    method: Method,
    from: String,
    stages: BTreeMap<String, f64>,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct HatchTable {
    days: Option<[u16; 2]>,
    degree_days: Option<[f64; 2]>,
    base_c: Option<f64>,
    method: Option<Method>,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WithoutWeatherTable {
    days_to_treatment: BTreeMap<String, [u16; 2]>,
    source: String,
}

impl TryFrom<CropTable> for CropModel {
    type Error = String;

    fn try_from(table: CropTable) -> Result<CropModel, String> {
        if table.from != "planting" {
            stage(&table.from)
                .map_err(|said| format!("from must be \"planting\" or a stage: {said}"))?;
        }
        let named = table.stages.into_iter();
        let stages = named.map(|(name, heat)| Ok((stage(&name)?, heat)));
        let mut stages: Vec<(Stage, f64)> = stages.collect::<Result<_, String>>()?;
        stages.sort_by_key(|(stage, _)| (stage.first_place(), stage.last_place()));
        if stages.len() < 2 {
            return Err("stages must have at least two, for a width of the first".to_owned());
        }
        for pair in stages.windows(2) {
            let [(earlier, less), (later, more)] = [pair[0], pair[1]];
            if earlier.last_place() >= later.first_place() {
                return Err(format!(
                    "stages has both {earlier} and {later}, which overlap"
                ));
            }
            if !(0.0 <= less && less < more && more.is_finite()) {
                return Err(format!(
                    "stages must grow: {earlier} = {less} and {later} = {more}"
                ));
            }
        }
        Ok(CropModel {
            rule: HeatRule::new(table.method, table.base_c)?,
            from: table.from,
            source: sourced(table.source)?,
            stages,
        })
    }
}

impl TryFrom<HatchTable> for HatchModel {
    type Error = String;

    fn try_from(table: HatchTable) -> Result<HatchModel, String> {
        let span = match (table.days, table.degree_days, table.base_c, table.method) {
            (Some([few, many]), None, None, None) => {
                if few > many {
                    return Err(format!("days = [{few}, {many}] must be fewest, most"));
                }
                HatchSpan::Days([few, many])
            }
            (None, Some([least, most]), Some(base_c), Some(method)) => {
                if !(0.0 < least && least <= most && most.is_finite()) {
                    return Err(format!(
                        "degree_days = [{least}, {most}] must be least, most"
                    ));
                }
                HatchSpan::Heat {
                    rule: HeatRule::new(method, base_c)?,
                    degree_days: [least, most],
                }
            }
            _ => {
                return Err(
                    "hatch is either days, or degree_days with base_c and method".to_owned(),
                );
            }
        };
        Ok(HatchModel {
            span,
            source: sourced(table.source)?,
        })
    }
}

impl TryFrom<WithoutWeatherTable> for WithoutWeather {
    type Error = String;

    fn try_from(table: WithoutWeatherTable) -> Result<WithoutWeather, String> {
        let ranges = table.days_to_treatment.into_iter().map(|(name, days)| {
            let [few, many] = days;
            match few <= many {
                true => Ok((stage(&name)?, days)),
                false => Err(format!("{name} = [{few}, {many}] must be fewest, most")),
            }
        });
        let mut ranges: Vec<(Stage, [u16; 2])> = ranges.collect::<Result<_, String>>()?;
        // Where two cover a stage, the narrower speaks: R5.0 before R5.
        ranges.sort_by_key(|(stage, _)| stage.last_place() - stage.first_place());
        Ok(WithoutWeather {
            source: sourced(table.source)?,
            ranges,
        })
    }
}

fn stage(text: &str) -> Result<Stage, String> {
    Stage::parse(text).ok_or_else(|| format!("{text:?} is no stage of the scale, VE to R9"))
}

fn sourced(source: String) -> Result<String, String> {
    match source.trim().is_empty() {
        true => Err("source must say where the figures are published".to_owned()),
        false => Ok(source),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CROP: &str = "[crop]\nbase_c = 6.7\nmethod = \"average-then-base\"\nfrom = \"planting\"\nsource = \"x\"\nstages = { R2 = 647, R3 = 726 }\n";

    fn refused(text: &str) -> String {
        let read: Result<Development, _> = toml::from_str(text);
        read.expect_err(text).message().to_owned()
    }

    #[test]
    fn a_model_that_does_not_hold_together_is_refused_with_the_reason() {
        assert!(toml::from_str::<Development>(CROP).is_ok());
        for (from, to, says) in [
            ("R3 = 726", "R3 = 600", "stages must grow"),
            ("R3 = 726", "R3 = nan", "stages must grow"),
            ("R3 = 726", "bloom = 726", "\"bloom\" is no stage"),
            (", R3 = 726", "", "at least two"),
            ("R2 = 647, R3 = 726", "R5 = 647, \"R5.1\" = 726", "overlap"),
            ("planting", "sowing", "from must be"),
            ("\"x\"", "\" \"", "source must say"),
            ("base_c = 6.7", "base_c = 670", "no temperature of air"),
            (
                "base_c = 6.7",
                "base_c = 6.7\nupper_c = 34.0",
                "unknown field `upper_c`",
            ),
            ("[crop]", "[pest]", "unknown field `pest`"),
            ("average-then-base", "average", "unknown variant"),
            ("base_c", "base", "unknown field"),
        ] {
            let said = refused(&CROP.replacen(from, to, 1));
            assert!(said.contains(says), "{to}: {said}");
        }
    }

    #[test]
    fn a_hatch_is_days_or_heat_and_ranges_are_in_order() {
        for (text, says) in [
            ("[hatch]\ndays = [8, 5]\nsource = \"x\"", "fewest, most"),
            ("[hatch]\nsource = \"x\"", "either days"),
            (
                "[hatch]\ndays = [5, 8]\nbase_c = 10.0\nsource = \"x\"",
                "either days",
            ),
            (
                "[hatch]\ndegree_days = [50, 80]\nsource = \"x\"",
                "either days",
            ),
            (
                "[without_weather]\ndays_to_treatment = { R2 = [9, 3] }\nsource = \"x\"",
                "fewest, most",
            ),
        ] {
            let said = refused(text);
            assert!(said.contains(says), "{text}: {said}");
        }
    }
}
