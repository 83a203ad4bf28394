//! A visit as it grows from cells.
//!
//! Which cells belong to it is [`super::group`]'s to say, and what it ends in [`super::record`]'s.

use std::collections::{BTreeMap, HashMap};

use serde_json::Value;

use super::member::{Level, MEMBERS, Member};
use crate::mapping::values::cells::Said;
use crate::mapping::values::numbers::Fault;
use scouting::visit::code::Code;
use scouting::visit::record::CountForm;

/// What was read from a cell, and where.
#[derive(Debug, Clone)]
pub(in crate::mapping) struct Taken {
    /// The cell's place: `Visits!C7 (Eggs)`.
    pub place: String,
    /// Place and content, as a finding shows them.
    pub found: String,
    /// What it says.
    pub said: Result<Option<Said>, Fault>,
}

/// Where in the visit a cell belongs: the sheet's names for site, unit and bract.
#[derive(Debug, Clone)]
pub(in crate::mapping) struct Place {
    pub site: String,
    pub unit: String,
    pub part: String,
}

/// One member as it grows.
#[derive(Debug, Default)]
pub(in crate::mapping) struct Slot {
    /// What cells say, and where the first of them is.
    pub said: Option<(Value, String)>,
    /// Where a cell is blank.
    pub blank: Option<String>,
    /// What is wrong, and the cell as a finding shows it.
    pub problems: Vec<(Fault, String)>,
    /// Where the first cell is.
    pub first: Option<String>,
}

/// Things by the sheet's name for them, in the order in which they came.
#[derive(Debug)]
pub(in crate::mapping) struct Named<T> {
    items: Vec<(String, T)>,
    places: HashMap<String, usize>,
}

impl<T> Default for Named<T> {
    fn default() -> Named<T> {
        Named {
            items: Vec::new(),
            places: HashMap::new(),
        }
    }
}

impl<T: Default> Named<T> {
    fn named(&mut self, name: &str) -> &mut T {
        let place = match self.places.get(name) {
            Some(place) => *place,
            None => {
                self.places.insert(name.to_owned(), self.items.len());
                self.items.push((name.to_owned(), T::default()));
                self.items.len() - 1
            }
        };
        &mut self.items[place].1
    }

    /// The things with their names.
    pub(crate) fn into_items(self) -> Vec<(String, T)> {
        self.items
    }
}

/// A visit as it grows.
#[derive(Debug)]
pub(in crate::mapping) struct Draft {
    /// Number of its first row.
    pub line: u64,
    /// Its rows, as places in the table.
    pub rows: Vec<usize>,
    /// Whether the cells that say which visit it is are blank.
    pub key_is_blank: bool,
    /// Whether all of them are blank.
    pub names_no_visit: bool,
    /// Whether rows below that name no visit may belong to it.
    pub may_go_on: bool,
    /// Blank cells that should say to which site, unit or bract counts belong, and what they want.
    pub indices_missing: Vec<(String, &'static str)>,
    /// Members of the visit.
    pub members: BTreeMap<&'static str, Slot>,
    /// Sites by the sheet's names.
    pub sites: Named<SiteDraft>,
}

/// A site as it grows.
#[derive(Debug, Default)]
pub(in crate::mapping) struct SiteDraft {
    /// Members of the site.
    pub members: BTreeMap<&'static str, Slot>,
    /// Units by form of counts and by the sheet's names.
    pub units: BTreeMap<&'static str, Named<UnitDraft>>,
}

/// A unit as it grows.
#[derive(Debug, Default)]
pub(in crate::mapping) struct UnitDraft {
    /// Counts by the sheet's names for the bracts.
    pub parts: Named<Slot>,
    /// Trap-nights of the catch.
    pub nights: Slot,
}

impl Slot {
    /// Takes a cell for a member that several cells may state, all the same.
    fn agree(&mut self, taken: Taken) {
        self.first.get_or_insert_with(|| taken.place.clone());
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
                            .push((Fault::new(Code::RowsDisagree, expected), taken.found));
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
                .push((Fault::new(Code::CountRepeated, expected), taken.found));
            return;
        }
        self.agree(taken);
    }

    /// Whether no cell says anything.
    pub(super) fn is_blank(&self) -> bool {
        self.said.is_none() && self.problems.is_empty()
    }
}

impl Draft {
    /// A draft that begins in a row.
    pub(crate) fn new(line: u64) -> Draft {
        Draft {
            line,
            rows: Vec::new(),
            key_is_blank: false,
            names_no_visit: false,
            may_go_on: false,
            indices_missing: Vec::new(),
            members: BTreeMap::new(),
            sites: Named::default(),
        }
    }

    /// The cells that should say which visit it is; a member without one by its pointer.
    pub(crate) fn key_cells(&self, key: &[&'static Member]) -> Vec<String> {
        let cell = |member: &&'static Member| {
            let slot = self.members.get(member.pointer);
            let first = slot.and_then(|slot| slot.first.clone());
            first.unwrap_or_else(|| member.pointer.to_owned())
        };
        key.iter().map(cell).collect()
    }

    /// Takes a cell.
    pub(crate) fn take(&mut self, member: &'static Member, place: &Place, taken: Taken) {
        match member.level {
            Level::Visit => {
                self.take_unit(member, &taken);
                self.members.entry(member.pointer).or_default().agree(taken);
            }
            Level::Site => {
                let site = self.sites.named(&place.site);
                site.members.entry(member.pointer).or_default().agree(taken);
            }
            Level::Unit => {
                let unit = self
                    .sites
                    .named(&place.site)
                    .unit(CountForm::Traps, &place.unit);
                unit.nights.once(taken);
            }
            Level::Count => {
                let form = member.count_form().expect("a count has a form");
                let unit = self.sites.named(&place.site).unit(form, &place.unit);
                unit.parts.named(&place.part).once(taken);
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
}

impl SiteDraft {
    fn unit(&mut self, form: CountForm, name: &str) -> &mut UnitDraft {
        self.units.entry(form.member()).or_default().named(name)
    }
}

impl UnitDraft {
    /// Whether none of its counts is there.
    pub(super) fn is_blank(&self) -> bool {
        self.parts.items.iter().all(|(_, slot)| slot.is_blank())
    }
}

/// A member of the same object.
pub(in crate::mapping) fn sibling(member: &Member, name: &str) -> Option<&'static Member> {
    let (parent, _) = member.pointer.rsplit_once('/')?;
    let pointer = format!("{parent}/{name}");
    MEMBERS.iter().find(|other| other.pointer == pointer)
}
