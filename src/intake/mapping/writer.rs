//! The document of a visit as it is written, member by member, with its findings and the place of each member.

use std::collections::BTreeMap;

use serde_json::{Map, Value};

use super::draft::Slot;
use super::member::Member;
use super::plan::Mapping;
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;

/// Writes a draft as a document, with its findings and places.
pub(in crate::mapping) struct Writer<'m> {
    pub mapping: &'m Mapping,
    fixed: BTreeMap<&'static str, (&'static Member, Value)>,
    pub document: Map<String, Value>,
    pub findings: Vec<Finding>,
    pub places: BTreeMap<String, String>,
}

impl<'m> Writer<'m> {
    pub(super) fn new(mapping: &'m Mapping) -> Writer<'m> {
        Writer {
            mapping,
            fixed: mapping.fixed(),
            document: Map::new(),
            findings: Vec::new(),
            places: BTreeMap::new(),
        }
    }

    /// Whether a finding is about the member at a pointer.
    pub(crate) fn is_faulty(&self, pointer: &str) -> bool {
        let mut findings = self.findings.iter();
        findings.any(|finding| finding.pointer == pointer)
    }

    /// A finding about the point of a field names both of its cells.
    pub(crate) fn point_place(&mut self, parent: &str) {
        let places: Vec<String> = ["lon", "lat"]
            .iter()
            .filter_map(|name| self.places.get(&format!("{parent}/{name}")).cloned())
            .collect();
        if !places.is_empty() {
            self.places.insert(parent.to_owned(), places.join(", "));
        }
    }

    /// The value of a member at a pointer: what cells say, else what is fixed, else the default.
    pub(crate) fn value(
        &mut self,
        member: &'static Member,
        pointer: &str,
        slot: Option<&Slot>,
        missed: bool,
    ) -> Option<Value> {
        if let Some(slot) = slot {
            if let Some(place) = slot
                .said
                .as_ref()
                .map(|said| &said.1)
                .or(slot.blank.as_ref())
                .or(slot.first.as_ref())
            {
                self.places.insert(pointer.to_owned(), place.clone());
            }
            if !slot.problems.is_empty() {
                self.problems(pointer, slot);
                return None;
            }
            if let Some((value, _)) = &slot.said {
                let clash = self
                    .fixed
                    .get(member.pointer)
                    .filter(|fixed| fixed.1 != *value);
                if let Some((_, fixed)) = clash {
                    let expected = format!("{fixed}, as the mapping fixes it");
                    self.findings.push(Finding::new(
                        Code::RowsDisagree,
                        pointer,
                        value.to_string(),
                        expected,
                    ));
                }
                return Some(value.clone());
            }
        }
        if let Some((_, value)) = self.fixed.get(member.pointer) {
            self.places
                .insert(pointer.to_owned(), "fixed by the mapping".to_owned());
            return Some(value.clone());
        }
        if let Some(default) = self.mapping.default_of(member) {
            let place = self
                .places
                .get(pointer)
                .map(|place| format!("{place}, "))
                .unwrap_or_default();
            self.places.insert(
                pointer.to_owned(),
                format!("{place}by default of the mapping"),
            );
            return Some(default.clone());
        }
        if member.required
            && missed
            && self
                .mapping
                .rows
                .visit_id
                .as_ref()
                .is_none_or(|_| member.pointer != "/visit_id")
        {
            self.blank(member, pointer);
        }
        None
    }

    /// Finds that a member has no value where it needs one.
    pub(super) fn blank(&mut self, member: &Member, pointer: &str) {
        let found = match self.places.get(pointer) {
            Some(place) => format!("{place}: blank"),
            None => "nothing".to_owned(),
        };
        self.findings.push(Finding::new(
            Code::CellBlank,
            pointer,
            found,
            member.expected,
        ));
    }

    fn problems(&mut self, pointer: &str, slot: &Slot) {
        for (fault, found) in &slot.problems {
            self.findings.push(Finding::new(
                fault.code,
                pointer,
                found.clone(),
                fault.expected.clone(),
            ));
        }
    }
}
