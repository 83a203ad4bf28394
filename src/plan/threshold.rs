//! The threshold that `bractline plan field` plans for: given, or computed as a visit's is, of the economics, the
//! type of crop and the stage.

use serde_json::json;

use crate::workspace::Workspace;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Protocol;
use scouting::protocol::planned::ThresholdField;
use scouting::protocol::threshold::threshold_of;
use scouting::visit::economics::EconomicMember;
use scouting::visit::record::Economics;
use scouting::visit::rules::amount_rules::economics_findings;

/// How an amount is written.
const AMOUNTS: &str = "write 8/acre or 20/ha, 16/cwt, 0.16/lb or 0.35/kg, 20000/acre or 49000/ha";

/// The options that say of what field the threshold is.
#[derive(Debug)]
pub(crate) struct GivenThreshold {
    /// Threshold of the field, as a count per unit, instead of its economics
    pub(crate) threshold: Option<f64>,

    /// Cost of one treatment, as 8/acre or 20/ha
    pub(crate) treatment_cost: Option<String>,

    /// Market price, as 16/cwt, 0.16/lb or 0.35/kg
    pub(crate) market_value: Option<String>,

    /// Plant population, as 20000/acre or 49000/ha
    pub(crate) plants: Option<String>,

    /// Crop type, whose [defaults] fill in what is missing [default: the first in the protocol]
    pub(crate) crop_type: Option<String>,

    /// Crop stage at scouting [default: the first of the protocol's window]
    pub(crate) stage: Option<String>,
}

impl GivenThreshold {
    /// The threshold, count a unit, and a phrase that says where it comes from.
    ///
    /// # Errors
    /// A [`Failure`] that names the option, if its value is none of the protocol's, or something is lacking.
    pub(crate) fn of(
        &self,
        protocol: &Protocol,
        workspace: Option<&Workspace>,
    ) -> Result<(f64, String), Failure> {
        let crop_type = self.crop_type_or(protocol, None)?;
        let crop_stage = self.stage(protocol)?;
        if let Some(threshold) = self.threshold {
            return match threshold.is_finite() && threshold > 0.0 {
                true => Ok((threshold, "given".to_owned())),
                false => Err(wrong("--threshold", &threshold, "a number above 0")),
            };
        }
        let limits = protocol.limits();
        let needed = limits.economics_needed(crop_type);
        let given = self.economics(&protocol.plausible.currency)?;
        let lacking = given.lacking(needed);
        let defaults = workspace.and_then(|one| one.settings().defaults.get(crop_type));
        let filled = defaults.map_or_else(|| given.clone(), |one| given.filled(&lacking, one));
        let missing = filled.lacking(needed);
        if !missing.is_empty() {
            return Err(lacks(protocol, crop_type, &missing));
        }
        check_plausible(protocol, &filled)?;
        let from = match (needed.len(), lacking.len()) {
            (0, _) => format!("from the protocol, for {crop_type} at {crop_stage}"),
            (_, 0) => "from the costs, price and plant population given".to_owned(),
            _ => "from the costs, price and plant population given, and the workspace's defaults"
                .to_owned(),
        };
        let field = ThresholdField {
            economics: &filled,
            area_ha: protocol.plausible.area_ha[0],
            crop_type,
            crop_stage: &crop_stage,
        };
        Ok((threshold_of(protocol, &field)?, from))
    }

    /// The economics that are given; what is lacking is that of the first of `others` that has it. None need be given.
    ///
    /// # Errors
    /// A [`Failure`] if an amount is none, or is not plausible under the protocol.
    pub(super) fn plausible_economics(
        &self,
        protocol: &Protocol,
        crop_type: &str,
        others: &[&Economics],
    ) -> Result<Economics, Failure> {
        let given = self.economics(&protocol.plausible.currency)?;
        let filled = others.iter().fold(given, |economics, other| {
            let lacking = economics.lacking(&EconomicMember::ALL);
            economics.filled(&lacking, other)
        });
        let limits = protocol.limits();
        let missing = filled.lacking(limits.economics_needed(crop_type));
        if !missing.is_empty() {
            return Err(lacks(protocol, crop_type, &missing));
        }
        check_plausible(protocol, &filled)?;
        Ok(filled)
    }

    /// The type of crop; where none is given `usual`, or the protocol's first.
    pub(super) fn crop_type_or<'a>(
        &'a self,
        protocol: &'a Protocol,
        usual: Option<&'a str>,
    ) -> Result<&'a str, Failure> {
        let known = &protocol.crop_types;
        let usual = usual.unwrap_or(&known[0]);
        let crop_type = self.crop_type.as_deref().unwrap_or(usual);
        match known.iter().any(|one| one == crop_type) {
            true => Ok(crop_type),
            false => {
                let right = format!("one of {}", known.join(", "));
                Err(wrong("--crop-type", &crop_type, &right))
            }
        }
    }

    /// The stage in the scale's own writing.
    pub(super) fn stage(&self, protocol: &Protocol) -> Result<String, Failure> {
        let text = self.stage.as_ref().unwrap_or(&protocol.stages.first);
        let within = protocol.scale.read(text).filter(|stage| {
            protocol.window().is_some_and(|(first, last)| {
                first <= stage.first_place() && stage.last_place() <= last
            })
        });
        let stages = &protocol.stages;
        within.map(|stage| stage.to_string()).ok_or_else(|| {
            let right = format!("a stage from {} to {}", stages.first, stages.last);
            wrong("--stage", text, &right)
        })
    }

    fn economics(&self, currency: &str) -> Result<Economics, Failure> {
        let mut economics = json!({});
        let given = [
            (
                "--treatment-cost",
                "treatment_cost",
                "amount",
                &self.treatment_cost,
            ),
            (
                "--market-value",
                "market_value",
                "amount",
                &self.market_value,
            ),
            ("--plants", "plant_population", "count", &self.plants),
        ];
        for (option, member, name, text) in given {
            let Some(text) = text else { continue };
            let currency = (name == "amount").then_some(currency);
            economics[member] =
                amount(text, name, currency).ok_or_else(|| no_amount(option, text))?;
            // Each by itself, so that a failure names its option.
            serde_json::from_value::<Economics>(json!({ member: economics[member] }))
                .map_err(|error| no_amount(option, text).caused_by(error))?;
        }
        serde_json::from_value(economics).map_err(|error| {
            Failure::because(Kind::Settings, "the amounts cannot be used", error).mend(AMOUNTS)
        })
    }
}

fn check_plausible(protocol: &Protocol, economics: &Economics) -> Result<(), Failure> {
    let findings = economics_findings(economics, &protocol.limits());
    findings.first().map_or(Ok(()), |finding| {
        let what = format!("an amount is not plausible for {}", protocol.id);
        Err(Failure::new(Kind::Settings, what)
            .at(finding.pointer.trim_start_matches('/').replace('/', ", "))
            .mend(format!("found {}; {}", finding.found, finding.expected)))
    })
}

/// `8/acre` as a member of the economics; a price per cwt (100 lb) as one per pound.
fn amount(text: &str, name: &str, currency: Option<&str>) -> Option<serde_json::Value> {
    let (number, unit) = text.split_once('/')?;
    let number = number.trim().parse::<f64>().ok()?;
    let (number, unit) = match unit.trim() {
        "cwt" => (number / 100.0, "lb"),
        unit => (number, unit),
    };
    if !(number.is_finite() && number > 0.0) {
        return None;
    }
    let mut member = json!({name: number, "per": unit});
    if let Some(currency) = currency {
        member["currency"] = json!(currency);
    }
    Some(member)
}

fn no_amount(option: &str, text: &str) -> Failure {
    Failure::new(Kind::Settings, format!("{text:?} is no amount with a unit"))
        .at(option)
        .mend(AMOUNTS)
}

fn lacks(protocol: &Protocol, crop_type: &str, missing: &[EconomicMember]) -> Failure {
    let names: Vec<&str> = missing.iter().map(|member| member.name()).collect();
    let what = format!("the threshold needs {}", names.join(", "));
    Failure::new(Kind::Settings, what)
        .at(format!("{}, {crop_type}", protocol.id))
        .mend("give --treatment-cost, --market-value and --plants, or the threshold itself with --threshold")
}

/// A value that an option may not have.
pub(crate) fn wrong(option: &str, value: &impl std::fmt::Display, right: &str) -> Failure {
    Failure::new(Kind::Settings, "no plan can be made from these numbers")
        .at(format!("{option} {value}"))
        .mend(format!("write {right}"))
}
