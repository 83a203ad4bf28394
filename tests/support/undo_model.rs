//! A small model of the store under loads, undos and edits: a plain list of what was stored, sharing no code with ours.
//!
//! It knows visits by the area of the field and by whether its id has the prefix of a sender.

use std::collections::{BTreeMap, BTreeSet};

/// A record: visit, revision and area.
pub type Record = (u8, u32, u32);

/// How a file is loaded: as that of a sender with a prefix or of nobody, and whether it takes the place of others.
#[derive(Debug, Clone, Copy)]
pub struct Way {
    pub north: bool,
    pub supersedes: bool,
}

/// A row of visits.
#[derive(Debug, Clone, Copy)]
struct Row {
    visit: u8,
    stored: u32,
    sent: u32,
    area: u32,
    /// Whether its field's id has the prefix, which its sender has too.
    north: bool,
    withdrawn: bool,
    load: usize,
}

impl Row {
    fn field_id(&self) -> String {
        let prefix = if self.north { "N-" } else { "" };
        format!("{prefix}f-{}", self.visit)
    }
}

/// A load: what it undoes, and which records it was the first to hold.
#[derive(Debug, Clone, Default)]
pub struct Load {
    undoes: Option<usize>,
    accepted: u64,
    held: Vec<(Record, usize)>,
    /// Held records that it closed: the load that held them first, and their place there.
    closed: Vec<(usize, usize)>,
}

#[derive(Debug, Default)]
pub struct Model {
    rows: Vec<Row>,
    pub loads: Vec<Load>,
}

enum Fate {
    Accepted,
    Duplicate,
    Held,
}

impl Model {
    fn undone(&self, load: usize) -> bool {
        let undos = self.loads.iter().filter(|other| other.undoes == Some(load));
        undos.count() % 2 == 1
    }

    fn highest(&self, visit: u8) -> u32 {
        let of_visit = self.rows.iter().filter(|row| row.visit == visit);
        of_visit.map(|row| row.stored).max().unwrap_or(0)
    }

    /// The row that is in effect: the highest of a sender or an edit whose load is not undone.
    fn in_effect(&self, visit: u8) -> Option<Row> {
        let may = |row: &&Row| {
            row.visit == visit && self.loads[row.load].undoes.is_none() && !self.undone(row.load)
        };
        self.rows
            .iter()
            .copied()
            .filter(|row| may(&row))
            .max_by_key(|row| row.stored)
    }

    /// Whether an undo ever named a load that brought the visit.
    fn touched(&self, visit: u8) -> bool {
        let named: BTreeSet<usize> = self.loads.iter().filter_map(|load| load.undoes).collect();
        self.rows
            .iter()
            .any(|row| row.visit == visit && (named.contains(&row.load) || row.sent != row.stored))
    }

    fn take(&mut self, (visit, sent, area): Record, way: Way, load: usize) -> Fate {
        let north = way.north;
        let renumbered = |row: &Row| {
            (row.visit, row.sent, row.area, row.north) == (visit, sent, area, north)
                && row.stored != sent
                && self.loads[row.load].undoes.is_none()
                && !self.undone(row.load)
        };
        if self.rows.iter().any(renumbered) {
            return Fate::Duplicate;
        }
        let mut stored = sent;
        if self.touched(visit) {
            let effect = self.in_effect(visit);
            let effect_sent = effect.map_or(0, |row| row.sent);
            let is_same =
                |row: Row| (row.sent, row.area, row.north) == (sent, area, north) && !row.withdrawn;
            if effect.is_some_and(is_same) {
                return Fate::Duplicate;
            }
            if sent > effect_sent && sent <= self.highest(visit) {
                stored = self.highest(visit) + 1;
            }
        }
        let known = self
            .rows
            .iter()
            .find(|row| row.visit == visit && row.stored == stored);
        if let Some(known) = known {
            let is_same = (known.area, known.north) == (area, north) && !known.withdrawn;
            if is_same {
                return Fate::Duplicate;
            }
            match self.superseding((visit, sent, area), way, load) {
                Some(next) => stored = next,
                None => return Fate::Held,
            }
        }
        self.rows.push(Row {
            visit,
            stored,
            sent,
            area,
            north,
            withdrawn: false,
            load,
        });
        Fate::Accepted
    }

    /// The number under which a record takes the place of another, if it may.
    fn superseding(&self, (visit, sent, area): Record, way: Way, load: usize) -> Option<u32> {
        let before = self
            .rows
            .iter()
            .filter(|row| row.visit == visit && row.load < load);
        let highest = before.clone().max_by_key(|row| row.stored)?;
        let mut of_number = before.filter(|row| row.stored == sent);
        let differs =
            of_number.any(|row| (row.area, row.north) != (area, way.north) || row.withdrawn);
        let sent_in_effect = match self.touched(visit) {
            true => self.in_effect(visit).map_or(0, |row| row.sent),
            false => highest.sent,
        };
        let next = highest.stored + 1;
        let is_free = !self
            .rows
            .iter()
            .any(|row| row.visit == visit && row.stored == next);
        let may = way.supersedes && differs && !highest.withdrawn && sent >= sent_in_effect;
        (may && is_free).then_some(next)
    }

    /// The held record of these bytes at this place that is open, if there is one.
    fn open_held(&self, record: Record, place: usize) -> Option<(usize, usize)> {
        self.open_records()
            .find(|(load, held)| self.loads[*load].held[*held] == (record, place))
    }

    fn open_records(&self) -> impl Iterator<Item = (usize, usize)> {
        let loads = (0..self.loads.len()).filter(|load| !self.undone(*load));
        let held =
            loads.flat_map(|load| (0..self.loads[load].held.len()).map(move |held| (load, held)));
        held.filter(|held| {
            let mut closing = (0..self.loads.len()).filter(|load| !self.undone(*load));
            !closing.any(|load| self.loads[load].closed.contains(held))
        })
    }

    /// Loads records; received, accepted, duplicate and held of them.
    pub fn load(&mut self, records: &[Record], way: Way) -> (u64, u64, u64) {
        let load = self.loads.len();
        self.loads.push(Load::default());
        let (mut accepted, mut duplicate, mut held) = (0, 0, 0);
        for (place, record) in records.iter().enumerate() {
            let rows = self.rows.len();
            match self.take(*record, way, load) {
                Fate::Accepted => {
                    accepted += 1;
                    // What was held of the same record before is closed by what takes a place.
                    let row = self.rows[rows];
                    if way.supersedes && row.stored != row.sent {
                        let held = self.open_held(*record, place);
                        self.loads[load].closed.extend(held);
                    }
                }
                Fate::Duplicate => duplicate += 1,
                Fate::Held => {
                    held += 1;
                    let mut earlier = (0..load).filter(|other| !self.undone(*other));
                    let has = |other: usize| {
                        self.loads[other]
                            .held
                            .iter()
                            .any(|(held, _)| held == record)
                    };
                    if !earlier.any(has) {
                        self.loads[load].held.push((*record, place));
                    }
                }
            }
        }
        self.loads[load].accepted = accepted;
        (accepted, duplicate, held)
    }

    /// Undoes a load; false if that must be refused.
    pub fn undo(&mut self, named: usize) -> bool {
        let root = self.loads[named].undoes.unwrap_or(named);
        let last = self
            .loads
            .iter()
            .rposition(|load| load.undoes == Some(root));
        let refused = match self.loads[named].undoes {
            Some(_) => last != Some(named),
            None => self.undone(root),
        };
        let brought = &self.loads[root];
        if refused || (brought.accepted == 0 && brought.held.is_empty()) {
            return false;
        }
        let visits: BTreeSet<u8> = self
            .rows
            .iter()
            .filter(|row| row.load == root)
            .map(|row| row.visit)
            .collect();
        let before: Vec<Option<Row>> = visits.iter().map(|visit| self.in_effect(*visit)).collect();
        let load = self.loads.len();
        self.loads.push(Load {
            undoes: Some(root),
            ..Load::default()
        });
        for (visit, before) in visits.into_iter().zip(before) {
            let after = self.in_effect(visit);
            if before.map(|row| row.stored) == after.map(|row| row.stored) {
                continue;
            }
            let source = after.or(before).expect("one of them is there");
            let stored = self.highest(visit) + 1;
            let withdrawn = after.is_none() || source.withdrawn;
            self.rows.push(Row {
                stored,
                sent: stored,
                load,
                withdrawn,
                ..source
            });
            self.loads[load].accepted += 1;
        }
        true
    }

    /// Edits the area of a visit; false if that must be refused.
    pub fn edit(&mut self, visit: u8, area: u32) -> bool {
        let stored = self.highest(visit);
        let current = self
            .rows
            .iter()
            .find(|row| row.visit == visit && row.stored == stored);
        let Some(current) = current.copied().filter(|current| current.area != area) else {
            return false;
        };
        let load = self.loads.len();
        self.loads.push(Load {
            accepted: 1,
            ..Load::default()
        });
        let stored = stored + 1;
        self.rows.push(Row {
            stored,
            sent: stored,
            area,
            load,
            ..current
        });
        true
    }

    /// Area and withdrawal of the highest revision of each visit.
    pub fn current(&self) -> BTreeMap<String, (u32, f64, String, bool)> {
        let visits: BTreeSet<u8> = self.rows.iter().map(|row| row.visit).collect();
        let of_visit = |visit: u8| {
            let rows = self.rows.iter().filter(move |row| row.visit == visit);
            let row = rows
                .max_by_key(|row| row.stored)
                .expect("a visit has a row");
            (
                format!("v-{visit}"),
                (row.stored, area_ha(row.area), row.field_id(), row.withdrawn),
            )
        };
        visits.into_iter().map(of_visit).collect()
    }

    pub fn open(&self) -> usize {
        self.open_records().count()
    }
}

pub fn area_ha(area: u32) -> f64 {
    40.0 + f64::from(area)
}
