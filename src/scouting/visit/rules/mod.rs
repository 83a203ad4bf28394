//! The trade rules: one function a code, over a visit and plain limits.
//!
//! A rule says what was found and what would be right. Whether a finding holds the record or only
//! flags it is said next to the rule, in [`holding_findings`] and [`flags`]. Rules about amounts are in
//! [`amount_rules`]; rules that need a map are in `intake`, where the region is known.

pub mod amount_rules;
pub(crate) mod count_bounds;
pub mod date_gaps;
pub mod doubts;
pub(crate) mod id_rules;
pub mod identity_doubts;
pub mod limits;
pub(crate) mod treatment;
pub(crate) mod zone_rules;

use crate::visit::code::Code;
use crate::visit::finding::Finding;
use crate::visit::record::{CountForm, Economics, Visit};
use crate::visit::rules::amount_rules::{
    area_implausible, currency_unchecked, economics_findings, economics_missing,
};
use crate::visit::rules::count_bounds::count_impossible;
use crate::visit::rules::date_gaps::date_too_old;
use crate::visit::rules::id_rules::id_findings;
use crate::visit::rules::limits::{Limits, SeasonDays};
use crate::visit::rules::treatment::{treatment_findings, treatment_flags};
use crate::visit::rules::zone_rules::zone_missing;
use crate::visit::stage::Stage;

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
    findings.extend(date_too_old(visit));
    findings.extend(treatment_findings(visit));
    findings.extend(stage_unknown(visit, stage, limits));
    findings.extend(crop_type_unknown(visit, limits));
    findings.extend(count_form_wrong(visit, limits));
    findings.extend(counts_per_head_wrong(visit, limits));
    findings.extend(count_above_most(visit, limits));
    findings.extend(count_impossible(visit, limits));
    findings.extend(site_repeated(visit));
    findings.extend(zone_missing(visit, limits));
    findings.extend(economics_missing(visit, economics, limits));
    findings.extend(economics_findings(economics, limits));
    findings.extend(area_implausible(visit, limits));
    findings.extend(id_findings(visit));
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
    flags.extend(count_out_of_time(visit, limits));
    if currency_unchecked(economics, limits) {
        flags.push(Code::CurrencyUnchecked);
    }
    flags.extend(treatment_flags(visit, limits));
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
    let first = visit.sites.first()?.count_form();
    let is_taken = |form: Option<CountForm>| {
        limits.takes_form(form) && (form == first || !limits.takes_form(first))
    };
    let wrong = visit
        .sites
        .iter()
        .position(|site| !is_taken(site.count_form()))?;
    let found = visit.sites[wrong]
        .count_form()
        .map_or("no counts", CountForm::member);
    let form = limits.count_form.member();
    let or_totals = match limits.unit_totals {
        true => format!(", or one total for each of the {form} in plants, at every site alike"),
        false => " at every site".to_owned(),
    };
    Some(Finding::new(
        Code::CountFormWrong,
        format!("/sites/{wrong}"),
        found,
        format!("{} counts {form}{or_totals}", limits.protocol),
    ))
}

fn counts_per_head_wrong(visit: &Visit, limits: &Limits) -> Option<Finding> {
    let wanted = limits.counts_per_unit?;
    visit
        .sites
        .iter()
        .enumerate()
        .find_map(|(site_place, site)| {
            let heads = site.heads.as_ref()?;
            let head_place = heads.iter().position(|head| head.len() != wanted)?;
            Some(Finding::new(
                Code::CountsPerHeadWrong,
                format!("/sites/{site_place}/heads/{head_place}"),
                format!("{} counts", heads.head(head_place).len()),
                format!(
                    "{} takes {wanted} counts per head{}",
                    limits.protocol,
                    match limits.unit_totals {
                        true =>
                            "; one total for the whole head goes into /sites/{site}/plants instead",
                        false => "",
                    }
                ),
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

fn too_few_sites(visit: &Visit, limits: &Limits) -> bool {
    visit.sites.len() < limits.sites_least(visit.field.area_ha)
}

/// A count that is due again at a later stage, or that comes after the stages in which treatment works.
fn count_out_of_time(visit: &Visit, limits: &Limits) -> Option<Code> {
    let stage = limits.scale.read(&visit.crop_stage)?;
    let timing = &limits.count_timing;
    if timing.is_early(stage) {
        return Some(Code::CountEarly);
    }
    timing.is_late(stage).then_some(Code::CountLate)
}

fn too_few_units(visit: &Visit, limits: &Limits) -> bool {
    visit
        .sites
        .iter()
        .any(|site| site.units().len() < limits.units_per_site_min)
}

pub(super) fn quoted(text: &str) -> String {
    let mut shown: String = text.chars().take(60).collect();
    if shown.len() < text.len() {
        shown.push('…');
    }
    format!("{shown:?}")
}
