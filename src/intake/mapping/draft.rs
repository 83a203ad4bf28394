//! A visit as it grows from cells, and the record or the findings that it ends in.
//!
//! Grouping is [`super::group`]'s. What a record must hold beyond its members being there is for the
//! schema and the trade rules, which see the document that is written here.

use std::collections::BTreeMap;

use serde_json::{Map, Value};

use super::cells::Said;
use super::columns::Table;
use super::file::BlankUnits;
use super::member::{self, Level, MEMBERS, Member};
use super::numbers::Fault;
use super::{Mapping, sent};
use crate::intake::table::TableRecord;
use crate::visit::finding::Finding;
use crate::visit::record::CountForm;

const NIGHTS: &str = "/sites/{site}/traps/{trap}/nights";

/// What was read from a cell, and where.
#[derive(Debug, Clone)]
pub(super) struct Taken {
    /// The cell's place: `Visits!C7 (Eggs)`.
    pub place: String,
    /// Place and content, as a finding shows them.
    pub found: String,
    /// What it says.
    pub said: Result<Option<Said>, Fault>,
}

/// Where in the visit a cell belongs: the sheet's names for site, unit and bract.
#[derive(Debug, Clone)]
pub(super) struct Place {
    pub site: String,
    pub unit: String,
    pub part: String,
}

/// One member as it grows.
#[derive(Debug, Default)]
struct Slot {
    said: Option<(Value, String)>,
    blank: Option<String>,
    problems: Vec<(Fault, String)>,
    places: Vec<String>,
}

/// A visit as it grows.
#[derive(Debug)]
pub(super) struct Draft {
    /// Number of its first row.
    pub line: u64,
    /// Its rows, as places in the table.
    pub rows: Vec<usize>,
    /// Whether the cells that say which visit it is are blank.
    pub key_is_blank: bool,
    /// Blank cells that should say to which site, unit or bract counts belong, and what they want.
    pub indices_missing: Vec<(String, &'static str)>,
    members: BTreeMap<&'static str, Slot>,
    sites: Vec<SiteDraft>,
}

#[derive(Debug)]
struct SiteDraft {
    key: String,
    members: BTreeMap<&'static str, Slot>,
    units: BTreeMap<&'static str, Vec<UnitDraft>>,
}

#[derive(Debug)]
struct UnitDraft {
    key: String,
    parts: Vec<(String, Slot)>,
    nights: Slot,
}

impl Slot {
    /// Takes a cell for a member that several cells may state, all the same.
    fn agree(&mut self, taken: Taken) {
        self.places.push(taken.place.clone());
        match taken.said {
            Err(fault) => {
                // Thirty rows that carry one bad date are one finding.
                if self.problems.is_empty() {
                    self.problems.push((fault, taken.found));
                }
            }
            Ok(None) => {
                self.blank.get_or_insert(taken.place);
            }
            Ok(Some(said)) => match &self.said {
                None => self.said = Some((said.value, taken.place)),
                Some((value, _)) if *value == said.value => {}
                Some((value, place)) => {
                    let expected =
                        format!("one value for all rows of a visit; {place} says {value}");
                    if self.problems.is_empty() {
                        self.problems
                            .push((Fault::new("rows-disagree", expected), taken.found));
                    }
                }
            },
        }
    }

    /// Takes a cell for a count, which one cell alone may state.
    fn once(&mut self, taken: Taken) {
        if let Some((_, place)) = &self.said
            && !matches!(taken.said, Ok(None))
        {
            let expected = format!("one cell for each count; {place} is for the same one");
            self.problems
                .push((Fault::new("count-repeated", expected), taken.found));
            return;
        }
        self.agree(taken);
    }

    fn is_blank(&self) -> bool {
        self.said.is_none() && self.problems.is_empty()
    }
}

impl Draft {
    /// A draft that begins in a row.
    pub fn new(line: u64) -> Draft {
        Draft {
            line,
            rows: Vec::new(),
            key_is_blank: false,
            indices_missing: Vec::new(),
            members: BTreeMap::new(),
            sites: Vec::new(),
        }
    }

    /// Takes a cell.
    pub fn take(&mut self, member: &'static Member, place: &Place, taken: Taken) {
        match member.level {
            Level::Visit => {
                self.take_unit(member, &taken);
                self.members.entry(member.pointer).or_default().agree(taken);
            }
            Level::Site => {
                let site = self.site(&place.site);
                site.members.entry(member.pointer).or_default().agree(taken);
            }
            Level::Unit => {
                let unit = self.site(&place.site).unit(CountForm::Traps, &place.unit);
                unit.nights.once(taken);
            }
            Level::Count => {
                let form = member.count_form().expect("a count has a form");
                let unit = self.site(&place.site).unit(form, &place.unit);
                unit.part(&place.part).once(taken);
            }
            // Its number is known already; what cannot be read is a problem of the visit.
            Level::Index => {
                if taken.said.is_err() {
                    self.indices_missing.push((taken.found, member.expected));
                }
            }
        }
    }

    /// What the unit of an amount says of its siblings `per` and `currency`.
    fn take_unit(&mut self, member: &'static Member, taken: &Taken) {
        let Ok(Some(said)) = &taken.said else { return };
        let given = [
            ("per", said.per.map(str::to_owned)),
            ("currency", said.currency.clone()),
        ];
        for (name, value) in given {
            let Some(value) = value else { continue };
            if let Some(sibling) = sibling(member, name) {
                let taken = Taken {
                    place: taken.place.clone(),
                    found: taken.found.clone(),
                    said: Ok(Some(Said::from(Value::from(value)))),
                };
                self.members
                    .entry(sibling.pointer)
                    .or_default()
                    .agree(taken);
            }
        }
    }

    fn site(&mut self, key: &str) -> &mut SiteDraft {
        let place = self
            .sites
            .iter()
            .position(|site| site.key == key)
            .unwrap_or_else(|| {
                self.sites.push(SiteDraft {
                    key: key.to_owned(),
                    members: BTreeMap::new(),
                    units: BTreeMap::new(),
                });
                self.sites.len() - 1
            });
        &mut self.sites[place]
    }

    /// Writes the record.
    pub fn finish(self, mapping: &Mapping, table: &Table<'_>) -> TableRecord {
        let line = self.line;
        let as_sent = sent::as_sent(table, &self.rows);
        let mut writer = Writer::new(mapping);
        let numbers: Vec<String> = self
            .rows
            .iter()
            .map(|place| table.rows[*place].row.number.to_string())
            .collect();
        writer.rows(table.sheet, &numbers);
        writer.visit(self);
        TableRecord {
            line,
            as_sent,
            document: if writer.findings.is_empty() {
                Ok(Value::Object(writer.document).to_string())
            } else {
                Err(writer.findings)
            },
            places: writer.places,
        }
    }
}

impl SiteDraft {
    fn unit(&mut self, form: CountForm, key: &str) -> &mut UnitDraft {
        let units = self.units.entry(form.member()).or_default();
        let place = units
            .iter()
            .position(|unit| unit.key == key)
            .unwrap_or_else(|| {
                units.push(UnitDraft {
                    key: key.to_owned(),
                    parts: Vec::new(),
                    nights: Slot::default(),
                });
                units.len() - 1
            });
        &mut units[place]
    }
}

impl UnitDraft {
    fn part(&mut self, key: &str) -> &mut Slot {
        let place = self
            .parts
            .iter()
            .position(|(part, _)| part == key)
            .unwrap_or_else(|| {
                self.parts.push((key.to_owned(), Slot::default()));
                self.parts.len() - 1
            });
        &mut self.parts[place].1
    }

    fn is_blank(&self) -> bool {
        self.parts.iter().all(|(_, slot)| slot.is_blank())
    }
}

fn sibling(member: &Member, name: &str) -> Option<&'static Member> {
    let (parent, _) = member.pointer.rsplit_once('/')?;
    let pointer = format!("{parent}/{name}");
    MEMBERS.iter().find(|other| other.pointer == pointer)
}

/// Writes a draft as a document, with its findings and places.
struct Writer<'m> {
    mapping: &'m Mapping,
    fixed: BTreeMap<&'static str, (&'static Member, Value)>,
    document: Map<String, Value>,
    findings: Vec<Finding>,
    places: BTreeMap<String, String>,
}

impl<'m> Writer<'m> {
    fn new(mapping: &'m Mapping) -> Writer<'m> {
        Writer {
            mapping,
            fixed: mapping.fixed(),
            document: Map::new(),
            findings: Vec::new(),
            places: BTreeMap::new(),
        }
    }

    fn rows(&mut self, sheet: &str, numbers: &[String]) {
        let sheet = if sheet.is_empty() {
            String::new()
        } else {
            format!("{sheet}, ")
        };
        let rows = match numbers {
            [one] => format!("row {one}"),
            [first, .., last] => format!("rows {first} to {last}"),
            [] => String::new(),
        };
        self.places.insert(String::new(), format!("{sheet}{rows}"));
    }

    fn visit(&mut self, mut draft: Draft) {
        if draft.key_is_blank {
            let members: Vec<&str> = self
                .mapping
                .rows
                .visit_key
                .iter()
                .map(|member| member.pointer)
                .collect();
            let found = format!("{}: blank", self.places[""]);
            self.findings.push(Finding::new(
                "key-blank",
                "",
                found,
                format!(
                    "a row that says to which visit it belongs, by {}; if blank repeats the row above, the mapping says fillDown = true",
                    members.join(", ")
                ),
            ));
        }
        for (found, expected) in std::mem::take(&mut draft.indices_missing) {
            self.findings
                .push(Finding::new("key-blank", "/sites", found, expected));
        }
        for member in MEMBERS.iter().filter(|member| member.level == Level::Visit) {
            let amount_is_there = !member.pointer.ends_with("/per")
                && !member.pointer.ends_with("/currency")
                || self.amount_is_there(member, &draft);
            let slot = draft.members.remove(member.pointer);
            if let Some(value) = self.value(member, member.pointer, slot.as_ref(), amount_is_there)
            {
                insert(&mut self.document, member.pointer, value);
            }
        }
        self.usual("schema_version", Value::from("1.0"));
        self.usual("revision", Value::from(1));
        self.visit_id();
        self.point_place("/field");
        self.sites(draft.sites);
    }

    /// A unit that only an amount can give is not missed beside an amount that is itself missing.
    fn amount_is_there(&self, member: &Member, draft: &Draft) -> bool {
        let stands = |name: &str| {
            sibling(member, name).is_some_and(|amount| {
                value_at(&self.document, amount.pointer).is_some()
                    || draft
                        .members
                        .get(amount.pointer)
                        .is_some_and(|slot| slot.said.is_some())
            })
        };
        stands("amount") || stands("count")
    }

    fn usual(&mut self, name: &str, value: Value) {
        let pointer = format!("/{name}");
        let faulty = self
            .findings
            .iter()
            .any(|finding| finding.pointer == pointer);
        if !faulty {
            self.document.entry(name).or_insert(value);
        }
    }

    fn visit_id(&mut self) {
        let Some(plan) = &self.mapping.rows.visit_id else {
            return;
        };
        let values: Vec<String> = plan
            .from
            .iter()
            .map(|member| match value_at(&self.document, member.pointer) {
                Some(Value::String(text)) => escaped(text),
                Some(value) => value.to_string(),
                None => String::new(),
            })
            .collect();
        let prefix = if plan.prefix.is_empty() {
            Vec::new()
        } else {
            vec![escaped(&plan.prefix)]
        };
        let id = [prefix, values].concat().join(":");
        self.document.insert("visit_id".to_owned(), Value::from(id));
        let members: Vec<&str> = plan.from.iter().map(|member| member.pointer).collect();
        self.places.insert(
            "/visit_id".to_owned(),
            format!("made of {}", members.join(", ")),
        );
    }

    /// A finding about the point of a field names both of its cells.
    fn point_place(&mut self, parent: &str) {
        let places: Vec<String> = ["lon", "lat"]
            .iter()
            .filter_map(|name| self.places.get(&format!("{parent}/{name}")).cloned())
            .collect();
        if !places.is_empty() {
            self.places.insert(parent.to_owned(), places.join(", "));
        }
    }

    /// The value of a member at a pointer: what cells say, else what is fixed, else the default.
    fn value(
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
                .or(slot.places.first())
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
                        "rows-disagree",
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
            let found = match self.places.get(pointer) {
                Some(place) => format!("{place}: blank"),
                None => "nothing".to_owned(),
            };
            self.findings
                .push(Finding::new("cell-blank", pointer, found, member.expected));
        }
        None
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

    fn sites(&mut self, drafts: Vec<SiteDraft>) {
        let drop_blank = self.mapping.rows.blank_units == BlankUnits::NotExamined;
        let drafts: Vec<SiteDraft> = drafts
            .into_iter()
            .filter_map(|mut site| {
                if drop_blank {
                    site.units
                        .values_mut()
                        .for_each(|units| units.retain(|unit| !unit.is_blank()));
                }
                site.units.retain(|_, units| !units.is_empty());
                // A site without a single count in it is no site: only its name was printed.
                (!site.units.is_empty()).then_some(site)
            })
            .collect();
        let mut sites = Vec::new();
        for (place, draft) in drafts.into_iter().enumerate() {
            sites.push(self.site(place, draft));
        }
        if sites.is_empty() {
            let found = format!("{}: no count", self.places[""]);
            self.findings.push(Finding::new(
                "counts-missing",
                "/sites",
                found,
                "at least one site with counts",
            ));
        }
        self.document
            .insert("sites".to_owned(), Value::Array(sites));
    }

    fn site(&mut self, place: usize, mut draft: SiteDraft) -> Value {
        let pointer = format!("/sites/{place}");
        let mut site = Map::new();
        for member in MEMBERS.iter().filter(|member| member.level == Level::Site) {
            let name = member.pointer.rsplit('/').next().unwrap_or_default();
            let slot = draft.members.remove(member.pointer);
            let value = self.value(member, &format!("{pointer}/{name}"), slot.as_ref(), false);
            if let Some(value) = value {
                site.insert(name.to_owned(), value);
            }
        }
        let number_at = format!("{pointer}/site");
        if !site.contains_key("site")
            && !self
                .findings
                .iter()
                .any(|finding| finding.pointer == number_at)
        {
            let number = draft.key.parse::<u64>().unwrap_or(place as u64 + 1);
            site.insert("site".to_owned(), Value::from(number));
        }
        self.point_place(&pointer);
        let forms: Vec<&str> = draft.units.keys().copied().collect();
        if forms.len() > 1 {
            self.findings.push(Finding::new(
                "counts-not-one-form",
                &pointer,
                forms.join(" and "),
                "counts in one form at a site",
            ));
        }
        for (form, units) in draft.units {
            let units = self.units(&format!("{pointer}/{form}"), form, units);
            site.insert(form.to_owned(), Value::Array(units));
        }
        Value::Object(site)
    }

    fn units(&mut self, pointer: &str, form: &str, mut units: Vec<UnitDraft>) -> Vec<Value> {
        sort_by_number(&mut units, |unit| &unit.key);
        units
            .into_iter()
            .enumerate()
            .map(|(place, unit)| self.unit(&format!("{pointer}/{place}"), form, unit))
            .collect()
    }

    fn unit(&mut self, pointer: &str, form: &str, mut unit: UnitDraft) -> Value {
        let cells: Vec<&String> = unit
            .parts
            .iter()
            .flat_map(|(_, slot)| slot.places.first())
            .collect();
        if let Some(first) = cells.first() {
            self.places.insert(pointer.to_owned(), (*first).clone());
        }
        if unit.is_blank() {
            let found = match (cells.first(), cells.last()) {
                (Some(first), Some(last)) if first != last => format!("{first} to {last}: blank"),
                (Some(first), _) => format!("{first}: blank"),
                _ => "nothing".to_owned(),
            };
            self.findings.push(Finding::new(
                "unit-blank",
                pointer,
                found,
                "counts; if a blank unit was not examined, the mapping says blankUnits = \"notExamined\"; if blank is 0, default = 0",
            ));
            return Value::Null;
        }
        match form {
            "plants" => self.count(pointer, unit.parts.remove(0).1),
            "traps" => self.trap(pointer, unit),
            _ => self.head(pointer, unit.parts),
        }
    }

    fn count(&mut self, pointer: &str, slot: Slot) -> Value {
        if slot.is_blank() {
            let place = slot
                .blank
                .clone()
                .or(slot.places.first().cloned())
                .unwrap_or_default();
            self.places.insert(pointer.to_owned(), place.clone());
            self.findings.push(Finding::new(
                "cell-blank",
                pointer,
                format!("{place}: blank"),
                "a count, 0 if nothing was found; if blank is 0, the mapping says default = 0",
            ));
            return Value::Null;
        }
        let member = member::exactly("/sites/{site}/plants/{plant}");
        self.value(member, pointer, Some(&slot), false)
            .unwrap_or(Value::Null)
    }

    fn trap(&mut self, pointer: &str, unit: UnitDraft) -> Value {
        let mut trap = Map::new();
        for (_, slot) in unit.parts.into_iter().take(1) {
            let catch = self.count(&format!("{pointer}/catch"), slot);
            trap.insert("catch".to_owned(), catch);
        }
        let at = format!("{pointer}/nights");
        let nights = self.value(member::exactly(NIGHTS), &at, Some(&unit.nights), false);
        match nights {
            Some(nights) => {
                trap.insert("nights".to_owned(), nights);
            }
            None if unit.nights.problems.is_empty() => {
                let found = match unit.nights.blank {
                    Some(place) => format!("{place}: blank"),
                    None => "nothing".to_owned(),
                };
                self.findings.push(Finding::new(
                    "cell-blank",
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
        let numbered = sort_by_number(&mut parts, |(key, _)| key);
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
                "bract-missing",
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
fn sort_by_number<T>(items: &mut [T], key: impl Fn(&T) -> &String) -> bool {
    let numbered = items.iter().all(|item| key(item).parse::<u64>().is_ok());
    if numbered {
        items.sort_by_key(|item| key(item).parse::<u64>().unwrap_or(0));
    }
    numbered
}

/// A value within a visit id: the sign that joins values cannot stand in one.
fn escaped(text: &str) -> String {
    text.replace('%', "%25").replace(':', "%3A")
}

fn insert(document: &mut Map<String, Value>, pointer: &str, value: Value) {
    let steps: Vec<&str> = pointer.split('/').skip(1).collect();
    let Some((last, parents)) = steps.split_last() else {
        return;
    };
    let mut object = document;
    for step in parents {
        let entry = object
            .entry(*step)
            .or_insert_with(|| Value::Object(Map::new()));
        match entry {
            Value::Object(inner) => object = inner,
            _ => return,
        }
    }
    object.insert((*last).to_owned(), value);
}

/// The value at a pointer of the document.
fn value_at<'d>(document: &'d Map<String, Value>, pointer: &str) -> Option<&'d Value> {
    let mut steps = pointer.split('/').skip(1);
    let first = document.get(steps.next()?)?;
    steps.try_fold(first, |value, step| value.get(step))
}
