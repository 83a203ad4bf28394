//! The trade rules: one function a code, over a visit and plain limits.
//!
//! A rule says what was found and what would be right. Whether a finding holds the record or only
//! flags it is said next to the rule, in [`holding_findings`] and [`flags`]. Rules that need a map
//! are in `intake`, where the region is known.

use std::collections::BTreeMap;

use super::code::Code;
use super::economics::EconomicMember;
use super::finding::Finding;
use super::record::{CountForm, Economics, Visit};
use super::stage::{Stage, StageScale};

/// What a protocol and a workspace allow; plain values, so that rules need nothing else of ours.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// The protocol's id, for messages.
    pub protocol: String,
    /// The form of counts that the protocol asks for.
    pub count_form: CountForm,
    /// Counts of a unit: six bracts per head. `None` leaves it open.
    pub counts_per_unit: Option<usize>,
    /// The most that one count can be: 1 where a unit is infested or not. `None` leaves it open.
    pub each_count_max: Option<u32>,
    /// Whether a trap's catch is divided by its nights.
    pub catch_by_night: bool,
    /// The stages of the crop.
    pub scale: StageScale,
    /// What the threshold of each crop type needs of the economics.
    pub economics_needed: BTreeMap<String, Vec<EconomicMember>>,
    /// Fewest sites that make a full sample.
    pub sites_min: usize,
    /// Fewest units of a site that make a full sample.
    pub units_per_site_min: usize,
    /// Crop types that the protocol knows.
    pub crop_types: Vec<String>,
    /// Currency of the plausible amounts, ISO 4217.
    pub currency: String,
    /// Plausible cost of one treatment, money per acre.
    pub treatment_cost_per_acre: (f64, f64),
    /// Plausible market value, money per pound.
    pub market_value_per_lb: (f64, f64),
    /// Plausible plants per acre.
    pub plants_per_acre: (f64, f64),
    /// Plausible area of a field, hectares.
    pub area_ha: (f64, f64),
}

impl Limits {
    /// What the threshold of a crop type needs of the economics.
    pub fn economics_needed(&self, crop_type: &str) -> &[EconomicMember] {
        self.economics_needed
            .get(crop_type)
            .map_or(&[], Vec::as_slice)
    }
}

/// The days of the year in which a workspace takes visits, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SeasonDays {
    /// Month and day of the first.
    pub first: (i8, i8),
    /// Month and day of the last.
    pub last: (i8, i8),
}

/// Every finding that holds the record. `stage` is its crop stage on the protocol's scale; `economics` are its
/// own, filled up from the workspace's defaults.
pub fn holding_findings(
    visit: &Visit,
    stage: Option<Stage>,
    economics: &Economics,
    limits: &Limits,
    season: SeasonDays,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    findings.extend(date_outside_season(visit, season));
    findings.extend(date_after_submission(visit));
    findings.extend(stage_unknown(visit, stage, limits));
    findings.extend(crop_type_unknown(visit, limits));
    findings.extend(count_form_wrong(visit, limits));
    findings.extend(bracts_not_six(visit, limits));
    findings.extend(count_above_most(visit, limits));
    findings.extend(site_repeated(visit));
    findings.extend(economics_missing(visit, economics, limits));
    findings.extend(economics_findings(economics, limits));
    findings.extend(area_implausible(visit, limits));
    findings
}

/// What is wrong with the amounts that are given: those of a record, or the defaults of a workspace.
pub fn economics_findings(economics: &Economics, limits: &Limits) -> Vec<Finding> {
    let mut findings = Vec::new();
    findings.extend(currencies_differ(economics));
    if currency_unchecked(economics, limits) {
        findings.extend(cost_to_value_implausible(economics, limits));
    } else {
        findings.extend(treatment_cost_implausible(economics, limits));
        findings.extend(market_value_implausible(economics, limits));
    }
    findings.extend(plant_population_implausible(economics, limits));
    findings
}

/// The flags of a record that is accepted all the same.
pub fn flags(visit: &Visit, economics: &Economics, limits: &Limits) -> Vec<Code> {
    let mut flags = Vec::new();
    if too_few_sites(visit, limits) {
        flags.push(Code::TooFewSites);
    }
    if too_few_units(visit, limits) {
        flags.push(Code::TooFewUnits);
    }
    if currency_unchecked(economics, limits) {
        flags.push(Code::CurrencyUnchecked);
    }
    flags
}

fn date_outside_season(visit: &Visit, season: SeasonDays) -> Option<Finding> {
    let day = visit.observed_on;
    let day_of_year = (day.month(), day.day());
    let inside = if season.first <= season.last {
        (season.first..=season.last).contains(&day_of_year)
    } else {
        // A season that spans the new year, as in the south.
        day_of_year >= season.first || day_of_year <= season.last
    };
    (!inside).then(|| {
        let (first, last) = (season.first, season.last);
        Finding::new(
            Code::DateOutsideSeason,
            "/observed_on",
            visit.observed_on.to_string(),
            format!(
                "a day of the season is expected, {:02}-{:02} to {:02}-{:02} (bractline.toml, [season])",
                first.0, first.1, last.0, last.1
            ),
        )
    })
}

/// Both days are those that the sender wrote, so that no time zone is guessed.
fn date_after_submission(visit: &Visit) -> Option<Finding> {
    let submitted_on = visit.submitted_at.day();
    (visit.observed_on > submitted_on).then(|| {
        Finding::new(
            Code::DateAfterSubmission,
            "/observed_on",
            visit.observed_on.to_string(),
            format!("a day not after the submission is expected, {submitted_on} at the latest"),
        )
    })
}

fn stage_unknown(visit: &Visit, stage: Option<Stage>, limits: &Limits) -> Option<Finding> {
    stage.is_none().then(|| {
        Finding::new(
            Code::StageUnknown,
            "/crop_stage",
            quoted(&visit.crop_stage),
            format!(
                "a stage of the scale is expected: {}",
                limits.scale.in_words()
            ),
        )
    })
}

fn crop_type_unknown(visit: &Visit, limits: &Limits) -> Option<Finding> {
    let crop_type = &visit.field.crop_type;
    (!limits.crop_types.contains(crop_type)).then(|| {
        Finding::new(
            Code::CropTypeUnknown,
            "/field/crop_type",
            quoted(crop_type),
            format!(
                "{} knows: {}",
                limits.protocol,
                limits.crop_types.join(", ")
            ),
        )
    })
}

fn count_form_wrong(visit: &Visit, limits: &Limits) -> Option<Finding> {
    let wrong = visit
        .sites
        .iter()
        .position(|site| site.count_form() != Some(limits.count_form))?;
    let found = visit.sites[wrong]
        .count_form()
        .map_or("no counts", CountForm::member);
    Some(Finding::new(
        Code::CountFormWrong,
        format!("/sites/{wrong}"),
        found,
        format!(
            "{} counts {} at every site",
            limits.protocol,
            limits.count_form.member()
        ),
    ))
}

fn bracts_not_six(visit: &Visit, limits: &Limits) -> Option<Finding> {
    let wanted = limits.counts_per_unit?;
    visit
        .sites
        .iter()
        .enumerate()
        .find_map(|(site_place, site)| {
            let heads = site.heads.as_ref()?;
            let head_place = heads.iter().position(|head| head.len() != wanted)?;
            Some(Finding::new(
                Code::BractsNotSix,
                format!("/sites/{site_place}/heads/{head_place}"),
                format!("{} counts", heads.head(head_place).len()),
                format!("{} takes {wanted} bracts per head", limits.protocol),
            ))
        })
}

/// Where a unit is infested or not, a count above 1 would make a share of more than all.
fn count_above_most(visit: &Visit, limits: &Limits) -> Option<Finding> {
    let most = limits.each_count_max?;
    let sites = visit.sites.iter().enumerate();
    let mut units = sites.flat_map(|(place, site)| {
        let member = site.count_form().map_or("", CountForm::member);
        let units = site.units().enumerate();
        units.map(move |(unit_place, unit)| (format!("/sites/{place}/{member}/{unit_place}"), unit))
    });
    units.find_map(|(pointer, unit)| {
        let above = unit.counts.iter().find(|count| count.0 > most)?;
        let expected = match most {
            1 => format!(
                "{} takes 1 for a unit that has any and 0 for one that has none",
                limits.protocol
            ),
            _ => format!("{} takes {most} a count at the most", limits.protocol),
        };
        Some(Finding::new(
            Code::CountAboveMost,
            pointer,
            above.0.to_string(),
            expected,
        ))
    })
}

fn site_repeated(visit: &Visit) -> Option<Finding> {
    let mut seen = std::collections::HashSet::new();
    let place = visit
        .sites
        .iter()
        .position(|site| !seen.insert(site.site))?;
    Some(Finding::new(
        Code::SiteRepeated,
        format!("/sites/{place}/site"),
        format!("site {} a second time", visit.sites[place].site),
        "each site of a visit has a number of its own",
    ))
}

/// Without its economics there is no threshold, and what a field costs and earns is not guessed. A threshold
/// that needs none of them asks for none.
fn economics_missing(visit: &Visit, economics: &Economics, limits: &Limits) -> Option<Finding> {
    let crop_type = &visit.field.crop_type;
    let needed = limits.economics_needed(crop_type);
    let lacking = economics.lacking(needed);
    let names = |members: &[EconomicMember], between: &str| {
        let names: Vec<&str> = members.iter().map(|member| member.name()).collect();
        names.join(between)
    };
    (!lacking.is_empty()).then(|| {
        let (last, others) = needed.split_last().expect("what lacks something needs something");
        let and = if others.is_empty() { "" } else { " and " };
        let expected = format!("{}{and}{}", names(others, ", "), last.name());
        let are = if others.is_empty() { "is" } else { "are" };
        Finding::new(
            Code::EconomicsMissing,
            "/economics",
            format!("no {}", names(&lacking, ", no ")),
            format!(
                "{expected} {are} expected; for {crop_type} this workspace has no default for what is missing \
                 (bractline.toml, [defaults])"
            ),
        )
    })
}

fn currencies_differ(economics: &Economics) -> Option<Finding> {
    let cost = &economics.treatment_cost.as_ref()?.currency;
    let value = &economics.market_value.as_ref()?.currency;
    (cost != value).then(|| {
        Finding::new(
            Code::CurrenciesDiffer,
            "/economics/market_value/currency",
            format!("{value}, with the treatment cost in {cost}"),
            "one currency for both is expected",
        )
    })
}

fn treatment_cost_implausible(economics: &Economics, limits: &Limits) -> Option<Finding> {
    let cost = economics.treatment_cost.as_ref()?;
    implausible(
        Code::TreatmentCostImplausible,
        "/economics/treatment_cost/amount",
        cost.per_acre(),
        limits.treatment_cost_per_acre,
        || format!("{} {} per {}", cost.amount, cost.currency, cost.per.name()),
        || format!("{} per acre", limits.currency),
        limits,
    )
}

fn market_value_implausible(economics: &Economics, limits: &Limits) -> Option<Finding> {
    let value = economics.market_value.as_ref()?;
    implausible(
        Code::MarketValueImplausible,
        "/economics/market_value/amount",
        value.per_lb(),
        limits.market_value_per_lb,
        || {
            let per = value.per.name();
            format!("{} {} per {per}", value.amount, value.currency)
        },
        || {
            let currency = &limits.currency;
            format!("{currency} per lb (were cents, or a hundredweight, meant?)")
        },
        limits,
    )
}

/// Amounts in another currency have no bounds of their own, but in cost ÷ value the currency cancels.
/// Without a bound a slip of the pen could make a threshold that no roll-up can add up.
fn cost_to_value_implausible(economics: &Economics, limits: &Limits) -> Option<Finding> {
    let cost = economics.treatment_cost.as_ref()?;
    let value = economics.market_value.as_ref()?;
    let (cost_low, cost_high) = limits.treatment_cost_per_acre;
    let (value_low, value_high) = limits.market_value_per_lb;
    implausible(
        Code::CostToValueImplausible,
        "/economics",
        cost.per_acre() / value.per_lb(),
        (cost_low / value_high, cost_high / value_low),
        || {
            format!(
                "{} {} per {} against {} per {}",
                cost.amount,
                cost.currency,
                cost.per.name(),
                value.amount,
                value.per.name()
            )
        },
        || "lb of crop per acre, treatment cost by market value,".to_owned(),
        limits,
    )
}

fn plant_population_implausible(economics: &Economics, limits: &Limits) -> Option<Finding> {
    let plants = economics.plant_population.as_ref()?;
    implausible(
        Code::PlantPopulationImplausible,
        "/economics/plant_population/count",
        plants.per_acre(),
        limits.plants_per_acre,
        || format!("{} plants per {}", plants.count, plants.per.name()),
        || "plants per acre".to_owned(),
        limits,
    )
}

fn area_implausible(visit: &Visit, limits: &Limits) -> Option<Finding> {
    let area_ha = visit.field.area_ha;
    implausible(
        Code::AreaImplausible,
        "/field/area_ha",
        area_ha,
        limits.area_ha,
        || format!("{area_ha} ha"),
        || "ha (were acres meant?)".to_owned(),
        limits,
    )
}

fn implausible(
    code: Code,
    pointer: &str,
    value: f64,
    (low, high): (f64, f64),
    found: impl FnOnce() -> String,
    unit: impl FnOnce() -> String,
    limits: &Limits,
) -> Option<Finding> {
    // Most amounts are plausible, and no word of them is written.
    (!(low..=high).contains(&value)).then(|| {
        let expected = format!(
            "for {} {low} to {high} {} is plausible",
            limits.protocol,
            unit()
        );
        Finding::new(code, pointer, found(), expected)
    })
}

fn too_few_sites(visit: &Visit, limits: &Limits) -> bool {
    visit.sites.len() < limits.sites_min
}

fn too_few_units(visit: &Visit, limits: &Limits) -> bool {
    visit
        .sites
        .iter()
        .any(|site| site.units().len() < limits.units_per_site_min)
}

/// Amounts in another currency than the protocol's cannot be compared with its bounds.
fn currency_unchecked(economics: &Economics, limits: &Limits) -> bool {
    economics
        .currency()
        .is_some_and(|currency| currency != limits.currency)
}

fn quoted(text: &str) -> String {
    let mut shown: String = text.chars().take(60).collect();
    if shown.len() < text.len() {
        shown.push('…');
    }
    format!("{shown:?}")
}
