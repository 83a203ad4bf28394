//! The counts of a draft, site by site, in the document of a visit.

use std::collections::BTreeMap;

use serde_json::{Map, Value};

use super::draft::{SiteDraft, Slot, UnitDraft};
use super::member::{self, Level, MEMBERS};
use super::names::unseen;
use super::utm_points::point_in_degrees;
use super::writer::Writer;
use crate::mapping::definition::file::BlankUnits;
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;

const NIGHTS: &str = "/sites/{site}/traps/{trap}/nights";

impl Writer<'_> {
    /// Writes the sites that hold a count.
    pub(crate) fn sites(&mut self, drafts: Vec<(String, SiteDraft)>) {
        let drop_blank = self.mapping.rows.blank_units == BlankUnits::NotExamined;
        let mut sites = Vec::new();
        for (name, draft) in drafts {
            let units: Vec<(&str, Vec<(String, UnitDraft)>)> = draft
                .units
                .into_iter()
                .map(|(form, units)| {
                    let mut units = units.into_items();
                    units.retain(|(_, unit)| !(drop_blank && unit.is_blank()));
                    (form, units)
                })
                .filter(|(_, units)| !units.is_empty())
                .collect();
            // A site without a single count in it is no site: only its name was printed.
            if !units.is_empty() {
                let site = self.site(sites.len(), &name, draft.members, units);
                sites.push(site);
            }
        }
        if sites.is_empty() {
            let found = format!("{}: no count", self.places[""]);
            self.findings.push(Finding::new(
                Code::CountsMissing,
                "/sites",
                found,
                "at least one site with counts",
            ));
        }
        self.document
            .insert("sites".to_owned(), Value::Array(sites));
    }

    fn site(
        &mut self,
        place: usize,
        name: &str,
        mut members: BTreeMap<&'static str, Slot>,
        units: Vec<(&str, Vec<(String, UnitDraft)>)>,
    ) -> Value {
        let pointer = format!("/sites/{place}");
        let mut site = Map::new();
        for member in MEMBERS.iter().filter(|member| member.level == Level::Site) {
            let last = member.pointer.rsplit('/').next().unwrap_or_default();
            let slot = members.remove(member.pointer);
            let value = self.value(member, &format!("{pointer}/{last}"), slot.as_ref(), false);
            if let Some(value) = value {
                site.insert(last.to_owned(), value);
            }
        }
        let number_at = format!("{pointer}/site");
        if !site.contains_key("site") && !self.is_faulty(&number_at) {
            let number = name.parse::<u64>().unwrap_or(place as u64 + 1);
            site.insert("site".to_owned(), Value::from(number));
        }
        self.point_place(&pointer);
        let zone = self.mapping.utm_of("/sites/{site}/lon");
        self.findings
            .extend(point_in_degrees(&pointer, zone, &mut site));
        let forms: Vec<&str> = units.iter().map(|(form, _)| *form).collect();
        if forms.len() > 1 {
            self.findings.push(Finding::new(
                Code::CountsNotOneForm,
                &pointer,
                forms.join(" and "),
                "counts in one form at a site",
            ));
        }
        for (form, units) in units {
            let units = self.units(&format!("{pointer}/{form}"), form, units);
            site.insert(form.to_owned(), Value::Array(units));
        }
        Value::Object(site)
    }

    fn units(
        &mut self,
        pointer: &str,
        form: &str,
        mut units: Vec<(String, UnitDraft)>,
    ) -> Vec<Value> {
        sort_by_number(&mut units);
        units
            .into_iter()
            .enumerate()
            .map(|(place, (_, unit))| self.unit(&format!("{pointer}/{place}"), form, unit))
            .collect()
    }

    fn unit(&mut self, pointer: &str, form: &str, unit: UnitDraft) -> Value {
        let is_blank = unit.is_blank();
        let parts = unit.parts.into_items();
        let cells: Vec<&String> = parts
            .iter()
            .flat_map(|(_, slot)| slot.first.as_ref())
            .collect();
        if let Some(first) = cells.first() {
            self.places.insert(pointer.to_owned(), (*first).clone());
        }
        if is_blank {
            let found = match (cells.first(), cells.last()) {
                (Some(first), Some(last)) if first != last => format!("{first} to {last}: blank"),
                (Some(first), _) => format!("{first}: blank"),
                _ => "nothing".to_owned(),
            };
            let expected = format!(
                "counts; if a blank unit was not examined, the mapping says blankUnits = \"notExamined\"; if blank is 0, default = 0{}",
                unseen(&found)
            );
            self.findings
                .push(Finding::new(Code::UnitBlank, pointer, found, expected));
            return Value::Null;
        }
        match form {
            "plants" => self.plant(pointer, parts),
            "traps" => self.trap(pointer, parts, unit.nights),
            _ => self.head(pointer, parts),
        }
    }

    fn count(&mut self, pointer: &str, slot: Slot) -> Value {
        if slot.is_blank() {
            let place = slot
                .blank
                .clone()
                .or(slot.first.clone())
                .unwrap_or_default();
            self.places.insert(pointer.to_owned(), place.clone());
            self.findings.push(Finding::new(
                Code::CellBlank,
                pointer,
                format!("{place}: blank"),
                format!("a count, 0 if nothing was found; if blank is 0, the mapping says default = 0{}", unseen(&place)),
            ));
            return Value::Null;
        }
        let member = member::exactly("/sites/{site}/plants/{plant}");
        self.value(member, pointer, Some(&slot), false)
            .unwrap_or(Value::Null)
    }

    /// A plant has one count, so one part.
    fn plant(&mut self, pointer: &str, parts: Vec<(String, Slot)>) -> Value {
        let slot = parts.into_iter().next().map(|(_, slot)| slot);
        self.count(pointer, slot.unwrap_or_default())
    }

    fn trap(&mut self, pointer: &str, parts: Vec<(String, Slot)>, unit_nights: Slot) -> Value {
        let mut trap = Map::new();
        for (_, slot) in parts.into_iter().take(1) {
            let catch = self.count(&format!("{pointer}/catch"), slot);
            trap.insert("catch".to_owned(), catch);
        }
        let at = format!("{pointer}/nights");
        let nights = self.value(member::exactly(NIGHTS), &at, Some(&unit_nights), false);
        match nights {
            Some(nights) => {
                trap.insert("nights".to_owned(), nights);
            }
            None if unit_nights.problems.is_empty() => {
                let found = match unit_nights.blank {
                    Some(place) => format!("{place}: blank"),
                    None => "nothing".to_owned(),
                };
                self.findings.push(Finding::new(
                    Code::CellBlank,
                    at,
                    found,
                    member::exactly(NIGHTS).expected,
                ));
            }
            None => {}
        }
        Value::Object(trap)
    }

    fn head(&mut self, pointer: &str, mut parts: Vec<(String, Slot)>) -> Value {
        let numbered = sort_by_number(&mut parts);
        if self.mapping.plain {
            // A head of our own layout ends with its last count: other heads may have more.
            let end = parts
                .iter()
                .rposition(|(_, slot)| !slot.is_blank())
                .map_or(0, |last| last + 1);
            parts.truncate(end);
        }
        let in_order = parts
            .iter()
            .enumerate()
            .all(|(place, (key, _))| *key == (place + 1).to_string());
        if numbered && !in_order {
            let keys: Vec<&str> = parts.iter().map(|(key, _)| key.as_str()).collect();
            self.findings.push(Finding::new(
                Code::BractMissing,
                pointer,
                format!("{}: bracts {}", self.places[pointer], keys.join(", ")),
                "every bract from 1 on, with 0 where nothing was found",
            ));
        }
        let counts = parts
            .into_iter()
            .enumerate()
            .map(|(place, (_, slot))| self.count(&format!("{pointer}/{place}"), slot))
            .collect();
        Value::Array(counts)
    }
}

/// Sorts by the number that the sheet gives, if all have one; else the sheet's order stays.
fn sort_by_number<T>(items: &mut [(String, T)]) -> bool {
    let numbered = items.iter().all(|(name, _)| name.parse::<u64>().is_ok());
    if numbered {
        items.sort_by_key(|(name, _)| name.parse::<u64>().unwrap_or(0));
    }
    numbered
}
