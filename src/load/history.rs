//! What was accepted before, as far as a doubt asks for it: where each field was, its latest stage of a
//! season, where each scout was on a day, which visit a field had on a day, and what is usual.
//!
//! It is read from the current visits of the store when a run begins, and extended with each visit that
//! the run accepts, in order; what other loads bring meanwhile is seen by the next run. Memory is in
//! proportion to fields, to the days of scouts and to visits. A visit is never compared with itself: revisions of
//! one visit are recognized by its id. A corrected visit takes its own place; only in the medians the values
//! of the revision before count until the run ends.
//!
//! What there is one of for each visit or field is kept in maps that hold their entries in one piece: a table of
//! hashes that doubles would double the entries, and for a moment hold them three times.

use std::collections::HashMap;

use indexmap::IndexMap;
use indexmap::map::Entry;
use jiff::civil::Date;
use smallvec::SmallVec;

use super::field_ids::FieldIds;
use super::same_day::{SameDays, key_of};
use super::seen::{Seen, forget, hash_of, see_first};
use super::usual::{Amounts, UsualAmounts};
use scouting::failure::Failure;
use scouting::region::distance::{GridCell, cell_of, cells_near, meters_between};
use scouting::visit::finding::Finding;
use scouting::visit::record::{MarketValue, PlantPopulation, TreatmentCost};
use scouting::visit::rows::VisitRow;
use scouting::visit::rules::doubts::{
    Elsewhere, FIELDS_APART_MIN_M, StageSeen, economics_unusual, field_moved, field_twice,
    observer_in_two_places, same_visit_other_id, stage_backwards,
};
use scouting::visit::rules::identity_doubts::{field_id_look_alike, field_of_another_sender};
use store::delta::tables::Store;
use store::rows::past::{PastVisit, each_current_visit};

/// What was accepted before.
#[derive(Debug, Default)]
pub(crate) struct History {
    /// Where each field was first accepted, by its id; `None` once that visit is withdrawn.
    fields: IndexMap<Box<str>, Option<Seen<(f64, f64)>>>,
    /// The fields whose point is in a cell, by their place in `fields`.
    grid: HashMap<GridCell, SmallVec<[u32; 2]>>,
    /// The latest visit of each field, by place, in each season.
    stages: IndexMap<(u32, i32), Seen<StageSeen>>,
    /// The first point of each scout on each day.
    scout_days: IndexMap<(u64, Date), Seen<(f64, f64)>>,
    field_ids: FieldIds,
    usual: UsualAmounts,
    same_days: SameDays,
    /// Visits that this run accepted.
    of_the_run: i64,
}

impl History {
    /// What counts at the store's newest version.
    pub(crate) async fn read(store: &Store) -> Result<History, Failure> {
        let mut history = History::default();
        each_current_visit(store, |visit| history.take_in(&visit)).await?;
        Ok(history)
    }

    /// The doubts that a visit raises, compared with what was accepted before it. A record that withdraws a
    /// visit raises none.
    pub(crate) fn doubts(&self, row: &VisitRow) -> Vec<Finding> {
        if row.visit.retracted == Some(true) {
            return Vec::new();
        }
        let visit = &row.visit;
        let own = hash_of(&visit.visit_id);
        let place = self.place_of(&visit.field.field_id);
        let point = visit.field.point();
        let mut doubts = Vec::new();
        let before = place.and_then(|place| self.fields[place as usize]);
        let before = before.and_then(|before| before.other_than(own));
        if let Some((point, before)) = point.zip(before) {
            doubts.extend(field_moved(visit, elsewhere(point, before)));
        }
        if let Some((other, at)) = point.and_then(|point| self.nearest_other(place, own, point)) {
            doubts.extend(field_twice(other, at));
        }
        let currency = row.economics.currency().unwrap_or_default();
        let usual = self
            .usual
            .usual(row.week.season(), &visit.field.crop_type, currency);
        doubts.extend(economics_unusual(visit, &usual));
        let day = (hash_of(&visit.observer_id), row.observed_on);
        let same_day = self.scout_days.get(&day);
        let same_day = same_day.and_then(|seen| seen.other_than(own));
        if let Some((point, same_day)) = point.zip(same_day) {
            doubts.extend(observer_in_two_places(visit, elsewhere(point, same_day)));
        }
        let latest = place.and_then(|place| self.stages.get(&(place, row.week.season())));
        if let Some(latest) = latest.and_then(|latest| latest.other_than(own)) {
            doubts.extend(stage_backwards(visit, row.observed_on, row.stage, latest));
        }
        if let Some(other) = self.same_days.other(same_day_key(row), &visit.visit_id) {
            let own = (row.statistics.total, row.stage);
            doubts.push(same_visit_other_id(visit, own, other));
        }
        doubts.extend(self.field_id_doubts(row, place, own));
        doubts
    }

    /// The doubts about whose field it is.
    fn field_id_doubts(&self, row: &VisitRow, place: Option<u32>, own: u64) -> Vec<Finding> {
        let visit = &row.visit;
        let season = row.week.season();
        let point = visit.field.point();
        let of_sender = place
            .zip(row.sender.as_deref())
            .and_then(|(place, sender)| {
                let (other, at) = self.field_ids.other_sender((place, season), sender, own)?;
                Some(field_of_another_sender(
                    visit,
                    (sender, other),
                    point.zip(at).map(|(point, at)| elsewhere(point, at)),
                ))
            });
        let alike = self
            .field_ids
            .look_alike(&visit.field.field_id, season, own);
        let alike = alike.filter(|alike| Some(*alike) != place);
        let of_look = alike.and_then(|alike| {
            let (other, _) = self.fields.get_index(alike as usize)?;
            Some(field_id_look_alike(visit, other))
        });
        of_sender.into_iter().chain(of_look).collect()
    }

    /// Extends the history with a visit that the run has accepted.
    pub(crate) fn add(&mut self, row: &VisitRow) {
        let visit = &row.visit;
        if visit.retracted == Some(true) {
            return self.withdraw(row);
        }
        self.of_the_run += 1;
        let given = &visit.economics;
        self.take_in(&PastVisit {
            visit_id: &visit.visit_id,
            revision: visit.revision,
            received_at: i64::MAX,
            line: self.of_the_run,
            observed_on: row.observed_on,
            season: row.week.season(),
            observer_id: &visit.observer_id,
            field_id: &visit.field.field_id,
            sender: row.sender.as_deref(),
            lon: visit.field.lon,
            lat: visit.field.lat,
            stage_first: row.stage.first_place(),
            stage_last: row.stage.last_place(),
            protocol: &visit.protocol,
            total: row.statistics.total as i64,
            crop_type: &visit.field.crop_type,
            currency: row.economics.currency().unwrap_or_default(),
            treatment_cost_per_ha: given.treatment_cost.as_ref().map(TreatmentCost::per_ha),
            market_value_per_kg: given.market_value.as_ref().map(MarketValue::per_kg),
            plants_per_ha: given.plant_population.as_ref().map(PlantPopulation::per_ha),
        });
    }

    fn take_in(&mut self, visit: &PastVisit<'_>) {
        let place = self.place_of(visit.field_id).unwrap_or_else(|| {
            let (place, _) = self.fields.insert_full(visit.field_id.into(), None);
            u32::try_from(place).expect("fewer than four billion fields")
        });
        let seen = Seen {
            what: (),
            visit: hash_of(visit.visit_id),
            revision: visit.revision,
            accepted: (visit.received_at, visit.line),
        };
        let point = visit.lon.zip(visit.lat);
        if let Some(point) = point {
            self.see_point(place, visit, seen.of(point));
        }
        self.field_ids.see(place, visit, seen.of(point));
        self.see_stage((place, visit.season), visit, seen);
        self.same_days.see(visit);
        self.usual.add(&Amounts {
            season: visit.season,
            crop_type: visit.crop_type,
            currency: visit.currency,
            treatment_cost_per_ha: visit.treatment_cost_per_ha,
            market_value_per_kg: visit.market_value_per_kg,
            plants_per_ha: visit.plants_per_ha,
        });
    }

    /// Where a field is, and where a scout was on a day.
    fn see_point(&mut self, place: u32, visit: &PastVisit<'_>, seen: Seen<(f64, f64)>) {
        self.see_field(place, seen);
        let scout_day = (hash_of(visit.observer_id), visit.observed_on);
        see_first(&mut self.scout_days, scout_day, seen);
    }

    /// The place of a field in `fields`, if it is known.
    fn place_of(&self, field_id: &str) -> Option<u32> {
        // No more are taken in.
        self.fields.get_index_of(field_id).map(|place| place as u32)
    }

    fn see_field(&mut self, place: u32, seen: Seen<(f64, f64)>) {
        let before = self.fields[place as usize];
        let seen = match before {
            None => seen,
            Some(before) => match before.replaced_by(seen) {
                None => return,
                Some(seen) => seen,
            },
        };
        self.leave_cell(place);
        self.fields[place as usize] = Some(seen);
        self.grid.entry(cell_of(seen.what)).or_default().push(place);
    }

    /// Takes a field's point off the grid.
    fn leave_cell(&mut self, place: u32) {
        let Some(seen) = self.fields[place as usize].take() else {
            return;
        };
        if let Some(fields) = self.grid.get_mut(&cell_of(seen.what)) {
            fields.retain(|other| *other != place);
        }
    }

    /// The visit on the latest day represents the field's season; a correction takes its own place.
    fn see_stage(&mut self, key: (u32, i32), visit: &PastVisit<'_>, seen: Seen<()>) {
        let latest = seen.of(StageSeen {
            day: visit.observed_on,
            first_place: visit.stage_first,
            last_place: visit.stage_last,
        });
        match self.stages.entry(key) {
            Entry::Vacant(vacant) => {
                vacant.insert(latest);
            }
            Entry::Occupied(mut known) => {
                let before = known.get();
                let replaces = if before.visit == latest.visit {
                    latest.revision > before.revision
                } else {
                    (latest.what.day, latest.accepted) > (before.what.day, before.accepted)
                };
                if replaces {
                    known.insert(latest);
                }
            }
        }
    }

    /// Forgets what is known from a visit that is withdrawn.
    fn withdraw(&mut self, row: &VisitRow) {
        let own = hash_of(&row.visit.visit_id);
        if let Some(place) = self.place_of(&row.visit.field.field_id) {
            if self.fields[place as usize].is_some_and(|seen| seen.visit == own) {
                self.leave_cell(place);
            }
            forget(&mut self.stages, (place, row.week.season()), own);
            let field = (place, row.visit.field.field_id.as_str(), row.week.season());
            self.field_ids.withdraw(field, own);
        }
        let day = (hash_of(&row.visit.observer_id), row.observed_on);
        forget(&mut self.scout_days, day, own);
        self.same_days
            .withdraw(same_day_key(row), &row.visit.visit_id);
    }

    /// The closest other field that is near, known from another visit; of two as close the first by id.
    fn nearest_other(
        &self,
        place: Option<u32>,
        own: u64,
        point: (f64, f64),
    ) -> Option<(&str, Elsewhere)> {
        cells_near(point, FIELDS_APART_MIN_M)
            .filter_map(|cell| self.grid.get(&cell))
            .flatten()
            .filter(|other| Some(**other) != place)
            .filter_map(|other| {
                let (field_id, seen) = self.fields.get_index(*other as usize)?;
                Some((
                    &**field_id,
                    elsewhere(point, seen.as_ref()?.other_than(own)?),
                ))
            })
            .min_by(|(one_id, one), (other_id, other)| {
                one.meters
                    .total_cmp(&other.meters)
                    .then_with(|| one_id.cmp(other_id))
            })
    }
}

fn same_day_key(row: &VisitRow) -> u64 {
    let visit = &row.visit;
    key_of(
        &visit.field.field_id,
        &row.observed_on,
        &visit.observer_id,
        &visit.protocol,
    )
}

fn elsewhere(from: (f64, f64), at: (f64, f64)) -> Elsewhere {
    Elsewhere {
        lon: at.0,
        lat: at.1,
        // The same point is what a field's next visit usually has.
        meters: if from == at {
            0.0
        } else {
            meters_between(from, at)
        },
    }
}
