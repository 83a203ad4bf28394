//! A protocol as its file says it: the members of the TOML, each as a type, with unknown ones refused.
//!
//! Whether what they say holds together is decided in [`super::sound`], what the threshold computes in
//! [`super::threshold`].

use serde::{Deserialize, Serialize};

use super::after_treatment::{AfterTreatment, DAYS_WHERE_NOT_STATED};
use super::economic_distance::EdgeDecline;
use super::kind::{Decision, ThresholdKind};
use super::planned::PlannedThreshold;
use super::windows::{StageWindow, TreatmentStages};
use crate::phenology::development::Development;
use crate::visit::record::{CountForm, Economics, MarketValue, PlantPopulation, TreatmentCost};
use crate::visit::rules::limits::{CountBounds, Limits};
use crate::visit::stage::StageScale;
use crate::visit::zones::Zones;

/// One protocol, as its file says it.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Protocol {
    /// The file's name without `.toml`.
    #[serde(skip_deserializing)]
    pub id: String,
    /// Pest and method, for headings.
    pub title: String,
    /// Scientific name, with synonyms.
    pub pest: String,
    /// The one scientific name with its author, where `pest` holds more than that: for files of other people's
    /// programs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scientific_name: Option<String>,
    /// The name that is current today, where `scientific_name` is an older combination.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub current_name: Option<String>,
    /// Address of the taxon in an open list of names, where it was looked up there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taxon_id: Option<String>,
    /// Life stage that is counted: `egg`, `larva` or `adult`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub life_stage: Option<LifeStage>,
    /// The crop.
    pub crop: String,
    /// What the mean is of, in words that fit after "a mean of 2.1": `eggs per six bracts of a bud`.
    pub counted: String,
    /// Where the sites are; protocols of different layouts are never pooled.
    pub layout: Layout,
    /// What a figure at threshold can decide.
    #[serde(default)]
    pub decision: Decision,
    /// Crop types that a record may name.
    pub crop_types: Vec<String>,
    /// The sample plan.
    pub sample: Sample,
    /// The stages in which counts are taken.
    pub stages: StageWindow,
    /// The stages in which treatment works; none where the count decides about no treatment.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub treatment_stages: Option<TreatmentStages>,
    /// The threshold.
    pub threshold: Threshold,
    /// The crop that a treatment saves, where a relation is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub damage: Option<Damage>,
    /// When treatment works.
    pub timing: Timing,
    /// How crop and pest develop, where it is published.
    #[serde(skip_serializing)]
    pub development: Option<Development>,
    /// How the density falls off from the edge inwards, where it was measured.
    #[serde(skip_serializing)]
    pub edge_decline: Option<EdgeDecline>,
    /// Plausible amounts.
    pub plausible: Plausible,
    /// For how long a treatment leaves counts out of pressure; the usual days where the file says nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub after_treatment: Option<AfterTreatment>,
    /// What the protocol adds to the standing cautions.
    #[serde(default, rename = "caution")]
    pub cautions: Vec<Caution>,
    /// Worked values that the protocol must give, at least one.
    #[serde(default, rename = "check")]
    pub checks: Vec<Check>,
    /// The stages of the crop, read from [`StageWindow::scale`].
    #[serde(skip)]
    pub scale: StageScale,
    /// The threshold expression, planned.
    #[serde(skip)]
    pub(super) planned: Option<PlannedThreshold>,
}

/// Where in a field the sites are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Layout {
    /// Along the sides.
    Edge,
    /// Well inside.
    Interior,
    /// At stations, in the field or next to it, where traps hang.
    Station,
}

/// The life stage that is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LifeStage {
    /// Eggs or egg masses.
    Egg,
    /// Larvae.
    Larva,
    /// Adults.
    Adult,
}

impl LifeStage {
    /// The word of Darwin Core's examples.
    pub fn word(self) -> &'static str {
        match self {
            LifeStage::Egg => "egg",
            LifeStage::Larva => "larva",
            LifeStage::Adult => "adult",
        }
    }
}

/// How a field is sampled.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sample {
    /// The form of the counts.
    pub form: CountForm,
    /// Counts of a head, where the protocol fixes it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub counts_per_unit: Option<usize>,
    /// Whether one total for each head is taken too: what the mean is of stays the same.
    #[serde(default, skip_serializing_if = "is_no")]
    pub unit_totals: bool,
    /// The most that one count can be: 1 where a plant is infested or not, so that the mean is a share.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub each_count_at_most: Option<u32>,
    /// Whether a trap's catch is divided by its trap-nights; false where the catch since the trap was
    /// put up is what counts.
    #[serde(default = "yes")]
    pub catch_by_night: bool,
    /// Units of a full site.
    pub units_per_site: usize,
    /// Sites of a full sample.
    pub sites_min: usize,
    /// Zones of a field that the plan samples apart, such as its edge and its inside, each with the share of the field that
    /// it represents. A site names its zone in `side`.
    #[serde(default, skip_serializing_if = "Zones::is_empty")]
    pub zones: Zones,
    /// From which area on a full sample has more sites, by area.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sites_by_area: Vec<SitesFrom>,
    /// The plan in words.
    pub plan: String,
    /// Where the plan comes from.
    pub source: String,
}

/// Sites of a full sample of a field of so many hectares or more.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SitesFrom {
    /// Hectares.
    pub from_ha: f64,
    /// Sites.
    pub sites: usize,
}

fn yes() -> bool {
    true
}

/// What is not said is not written.
fn is_no(given: &bool) -> bool {
    !given
}

/// At what density treating pays.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Threshold {
    /// What its source calls it.
    pub kind: ThresholdKind,
    /// In a few words, for a line of the list: `1 on 3 plants`.
    pub in_short: String,
    /// SQL scalar expression over the canonical columns, in the unit of the field mean.
    pub expression: String,
    /// The same in words.
    pub formula: String,
    /// Where it comes from.
    pub source: String,
}

/// The table `[damage]` of a protocol.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Damage {
    /// SQL scalar over the canonical columns: kilograms of crop per hectare that a treatment saves for each
    /// unit of the field mean; null for a crop type that the relation does not cover.
    pub saved_kg_per_ha_per_count: String,
    /// The same at a mean of 0, where the line does not begin at 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub saved_kg_per_ha_at_none: Option<String>,
    /// The same in words.
    pub formula: String,
    /// Where it comes from.
    pub source: String,
}

/// When treatment works.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Timing {
    /// Crop stage of treatment, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub treat_at: Option<String>,
    /// The timing in words.
    pub treat: String,
    /// What to do next, in a few words that follow "What to do next:", where the count decides about no treatment.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next_step: Option<String>,
    /// Days from laying to hatching, low and high.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hatch_days: Option<[u16; 2]>,
    /// Where it comes from.
    pub source: String,
}

/// Bounds beyond which an amount is held, low and high.
#[derive(Debug, Clone, Serialize, Deserialize)]
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
    /// Counts of one unit; without the table no count is doubted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub count: Option<PlausibleCount>,
}

/// From which count of one unit on a visit is doubtful: of a head with all its bracts, a plant, a trap as it enters the mean.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlausibleCount {
    /// A visit with a unit of so many or more is flagged.
    pub strange: f64,
    /// A visit with a unit of so many or more is held.
    pub impossible: f64,
    /// Where the bounds come from.
    pub source: String,
}

/// A caution of the protocol's own.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Caution {
    /// One sentence.
    pub text: String,
    /// Whether an alert carries it at its top, too.
    #[serde(default, skip_serializing_if = "is_no")]
    pub at_top: bool,
    /// Where it comes from.
    pub source: String,
}

/// A worked value of a source.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Check {
    /// Where the value is printed, or how it was computed.
    pub source: String,
    /// What goes in.
    #[serde(default)]
    pub given: Given,
    /// The threshold that must come out.
    pub expect: f64,
    /// How far from it is still right.
    pub tolerance: f64,
}

/// The field of a worked value; what is not given a threshold must not need.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Given {
    /// Type of crop; the protocol's first if it is not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub crop_type: Option<String>,
    /// Crop stage; the first of the window if it is not given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub crop_stage: Option<String>,
    /// Hectares.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub area_ha: Option<f64>,
    /// Cost of one treatment.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub treatment_cost: Option<TreatmentCost>,
    /// What the crop sells for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub market_value: Option<MarketValue>,
    /// Plants standing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub plant_population: Option<PlantPopulation>,
}

impl Given {
    /// The economics that are given.
    pub fn economics(&self) -> Economics {
        Economics {
            treatment_cost: self.treatment_cost.clone(),
            market_value: self.market_value.clone(),
            plant_population: self.plant_population.clone(),
        }
    }
}

impl Protocol {
    /// The planned threshold.
    pub(super) fn planned(&self) -> &PlannedThreshold {
        let planned = self.planned.as_ref();
        planned.expect("a protocol is planned when it is read")
    }

    /// The one scientific name with its author.
    pub fn scientific_name(&self) -> &str {
        self.scientific_name.as_deref().unwrap_or(&self.pest)
    }

    /// Days after a treatment in which a count says nothing about pressure.
    pub fn after_treatment_days(&self) -> u8 {
        let stated = self.after_treatment.as_ref();
        stated.map_or(DAYS_WHERE_NOT_STATED, |after| after.days)
    }

    fn count_bounds(&self) -> Option<CountBounds> {
        let bounds = self.plausible.count.as_ref()?;
        Some(CountBounds {
            protocol: self.id.clone(),
            counted: self.counted.clone(),
            strange: bounds.strange,
            impossible: bounds.impossible,
        })
    }

    /// What the trade rules need of the protocol.
    pub fn limits(&self) -> Limits {
        let pair = |[low, high]: [f64; 2]| (low, high);
        let economics_needed = self.planned().economics_needed().clone();
        Limits {
            protocol: self.id.clone(),
            count_form: self.sample.form,
            counts_per_unit: self.sample.counts_per_unit,
            unit_totals: self.sample.unit_totals,
            each_count_max: self.sample.each_count_at_most,
            catch_by_night: self.sample.catch_by_night,
            zones: self.sample.zones.clone(),
            scale: self.scale.clone(),
            economics_needed,
            sites_min: self.sample.sites_min,
            sites_by_area: self
                .sample
                .sites_by_area
                .iter()
                .map(|step| (step.from_ha, step.sites))
                .collect(),
            count_timing: self.count_timing(),
            units_per_site_min: self.sample.units_per_site,
            crop_types: self.crop_types.clone(),
            currency: self.plausible.currency.clone(),
            treatment_cost_per_acre: pair(self.plausible.treatment_cost_per_acre),
            market_value_per_lb: pair(self.plausible.market_value_per_lb),
            plants_per_acre: pair(self.plausible.plants_per_acre),
            area_ha: pair(self.plausible.area_ha),
            after_treatment_days: self.after_treatment_days(),
            count_bounds: self.count_bounds(),
        }
    }
}
