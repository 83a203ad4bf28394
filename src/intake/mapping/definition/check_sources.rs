//! Whether the fields and constants of a mapping together give what a record needs: each member once,
//! counts, and the keys by which rows belong together.

use std::collections::BTreeMap;

use crate::mapping::definition::file::RowIs;
use crate::mapping::definition::mistake::{Mistake, mistake};
use crate::mapping::draft::sibling;
use crate::mapping::member::{self, Keys, Level, MEMBERS, Member, is_unit_of_amount};
use crate::mapping::plan::{Field, Mapping, Selector};

const SUBMITTED_AT: &str = "/submitted_at";

/// Checks all of it.
pub(in crate::mapping) fn check(mapping: &Mapping) -> Result<(), Mistake> {
    check_sources(mapping)?;
    check_points(mapping)?;
    check_counts(mapping)?;
    check_keys(mapping)
}

/// Every member has one source at the most, and every required one has one.
fn check_sources(mapping: &Mapping) -> Result<(), Mistake> {
    let mut sources: BTreeMap<(&str, &Keys), usize> = BTreeMap::new();
    let none = Keys::default();
    for field in &mapping.fields {
        let pattern = matches!(field.selector, Selector::Pattern(_));
        if !(pattern && field.reading.member.level != Level::Visit) {
            *sources
                .entry((field.reading.member.pointer, &field.keys))
                .or_default() += 1;
        }
        for pointer in field.also_gives() {
            *sources.entry((pointer, &none)).or_default() += 1;
        }
    }
    for constant in &mapping.constants {
        *sources.entry((constant.member.pointer, &none)).or_default() += 1;
    }
    if mapping.rows.visit_id.is_some() {
        *sources.entry(("/visit_id", &none)).or_default() += 1;
    }
    if let Some(((pointer, _), _)) = sources.iter().find(|(_, count)| **count > 1) {
        return mistake(
            format!("{pointer} has more than one source"),
            "keep one [[field]], constant or unit that gives it; a unit such as USD/acre gives per and currency",
        );
    }
    let has_source = |pointer: &str| sources.contains_key(&(pointer, &none));
    let amount_has_source = |unit: &Member| {
        let amounts = ["amount", "count"].into_iter();
        let mut amounts = amounts.filter_map(|name| sibling(unit, name));
        amounts.any(|amount| has_source(amount.pointer))
    };
    let missing: Vec<&str> = MEMBERS
        .iter()
        .filter(|member| member.required && member.pointer != SUBMITTED_AT)
        .filter(|member| !is_unit_of_amount(member) || amount_has_source(member))
        .map(|member| member.pointer)
        .filter(|pointer| !has_source(pointer))
        .collect();
    let has_point = has_source("/field/lon") && has_source("/field/lat");
    let has_half = has_source("/field/lon") != has_source("/field/lat");
    if has_half || !(has_point || has_source("/field/county_id")) {
        return mistake(
            "nothing gives the point of the field, /field/lon and /field/lat",
            "give both a [[field]]; where only the county is known, give its id or name to /field/county_id",
        );
    }
    if missing.is_empty() {
        Ok(())
    } else {
        mistake(
            format!("nothing gives {}", missing.join(", ")),
            "give each a [[field]] or a line in [constant]; a visit id can be made by [visitId]",
        )
    }
}

/// Easting and northing are of one zone: one of them alone is no point.
fn check_points(mapping: &Mapping) -> Result<(), Mistake> {
    for parent in ["/field", "/sites/{site}"] {
        let [lon, lat] = ["lon", "lat"].map(|name| mapping.utm_of(&format!("{parent}/{name}")));
        if lon != lat {
            return mistake(
                format!("utmZone of {parent}/lon and {parent}/lat differ"),
                "give both the same: one column is the easting, the other the northing",
            );
        }
    }
    Ok(())
}

/// The counts have a source, and a row's place among units and bracts is known.
fn check_counts(mapping: &Mapping) -> Result<(), Mistake> {
    let counts: Vec<&Field> = mapping
        .fields
        .iter()
        .filter(|field| field.reading.member.level == Level::Count)
        .collect();
    if counts.is_empty() {
        return mistake(
            "nothing gives the counts",
            "map a column to /sites/{site}/heads/{head}/{bract}, or to plants or traps",
        );
    }
    let has_index = |names: &[&str]| {
        mapping
            .fields
            .iter()
            .any(|field| names.contains(&field.reading.member.pointer))
    };
    let by_bract = mapping.rows.row_is == RowIs::Bract;
    if by_bract && !(has_index(&["{head}", "{unit}"]) && has_index(&["{bract}"])) {
        return mistake(
            "a row is a bract, but nothing says which",
            "map the columns with their numbers to {head} and {bract}",
        );
    }
    Ok(())
}

/// What says which rows belong together must come from somewhere.
fn check_keys(mapping: &Mapping) -> Result<(), Mistake> {
    let given = |member: &Member| {
        mapping
            .fields
            .iter()
            .any(|field| field.reading.member == member)
            || mapping
                .constants
                .iter()
                .any(|constant| constant.member == member)
    };
    let keys = mapping.rows.visit_key.iter().chain(&mapping.rows.site_key);
    let id = mapping.rows.visit_id.iter().flat_map(|id| &id.from);
    if let Some(member) = keys.chain(id).find(|member| !given(member)) {
        return mistake(
            format!("{} is a key, but nothing gives it", member.pointer),
            "give it a [[field]] or a line in [constant]",
        );
    }
    let below_site = !matches!(mapping.rows.row_is, RowIs::Visit | RowIs::Site);
    let site_known = !mapping.rows.site_key.is_empty()
        || given(member::exactly("/sites/{site}/site"))
        || mapping.fields.iter().any(|field| field.names_site());
    if below_site && !site_known {
        return mistake(
            "nothing says to which site a row belongs",
            "map the site's column to /sites/{site}/site, or fix it in [constant] if there is one site",
        );
    }
    Ok(())
}
