//! What becomes of a record on its way: corrected, withdrawn, sent twice, contradicted, broken.
//!
//! Each visit becomes a group of lines in the order of their arrival. What `load` must make of each
//! follows from the group alone, because identity is a matter of one `visit_id`: any mixing of
//! groups that keeps the order within each keeps every expectation.

use geo::Rect;
use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::broken::{Breakage, break_visit, line_of};
use super::options::MessShares;
use super::sample_line::{Expected, SampleLine};
use super::season::{PlannedVisit, Season};
use scouting::visit::code::Code;
use scouting::visit::count::Count;
use scouting::visit::record::Visit;

enum Fate {
    Good,
    Broken,
    Duplicated,
    Corrected,
    Retracted,
    Conflicting,
}

fn draw_fate(shares: &MessShares, chance: &mut ChaCha8Rng) -> Fate {
    let mut roll: f64 = chance.random();
    for (share, fate) in [
        (shares.broken, Fate::Broken),
        (shares.duplicated, Fate::Duplicated),
        (shares.corrected, Fate::Corrected),
        (shares.retracted, Fate::Retracted),
        (shares.conflicting, Fate::Conflicting),
    ] {
        if roll < share {
            return fate;
        }
        roll -= share;
    }
    Fate::Good
}

/// One sending of a visit.
struct Sending {
    /// Number of the day of arrival.
    day: usize,
    bytes: Vec<u8>,
    meaning: Meaning,
}

/// What a sending says.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Meaning {
    /// A readable record; equal `content` of one revision is the same content.
    Readable { revision: u32, content: u32 },
    /// To be held.
    Broken(Code),
}

/// The way of one season's records from the scout to the coordinator.
#[derive(Debug, Clone)]
pub(crate) struct Way {
    season: Season,
    bounds: Rect<f64>,
    shares: MessShares,
    /// The next way of breaking a record: taken in turn, so that a small sample has many of them.
    next_breakage: usize,
}

impl Way {
    /// A season's way. `bounds` is the rectangle around the region, in degrees.
    pub(crate) fn new(season: Season, bounds: Rect<f64>, shares: MessShares) -> Self {
        Way {
            // Seasons begin at different places of the turn, so that three small ones cover it all.
            next_breakage: season.year.unsigned_abs() as usize * 8,
            season,
            bounds,
            shares,
        }
    }

    /// The season.
    pub(crate) fn season(&self) -> &Season {
        &self.season
    }

    /// A visit's lines in the order of their arrival, each with what must become of it.
    pub(crate) fn lines(
        &mut self,
        planned: &PlannedVisit,
        chance: &mut ChaCha8Rng,
    ) -> Vec<SampleLine> {
        let mut taken: Vec<(u32, u32)> = Vec::with_capacity(2);
        self.sendings(planned, chance)
            .into_iter()
            .map(|sending| SampleLine {
                bytes: sending.bytes,
                expected: expected(sending.meaning, &mut taken),
                arrives_on: self.season.calendar.date(sending.day),
            })
            .collect()
    }

    /// A visit's sendings in the order of their arrival.
    fn sendings(&mut self, planned: &PlannedVisit, chance: &mut ChaCha8Rng) -> Vec<Sending> {
        let original = Sending {
            day: planned.submitted_day,
            bytes: line_of(&planned.visit),
            meaning: Meaning::Readable {
                revision: 1,
                content: 0,
            },
        };
        match draw_fate(&self.shares, chance) {
            Fate::Good => vec![original],
            Fate::Broken => self.broken(planned, original, chance),
            Fate::Duplicated => duplicated(original, chance),
            Fate::Corrected => self.corrected(planned, original, chance),
            Fate::Retracted => {
                let mut visit = planned.visit.clone();
                visit.retracted = Some(true);
                let withdrawal = self.revised(visit, 2, original.day, chance);
                vec![original, withdrawal]
            }
            Fate::Conflicting => {
                let mut visit = planned.visit.clone();
                change_counts(&mut visit, chance);
                let other = Sending {
                    day: original.day + chance.random_range(0..=5),
                    bytes: line_of(&visit),
                    meaning: Meaning::Readable {
                        revision: 1,
                        content: 1,
                    },
                };
                vec![original, other]
            }
        }
    }

    fn broken(
        &mut self,
        planned: &PlannedVisit,
        original: Sending,
        chance: &mut ChaCha8Rng,
    ) -> Vec<Sending> {
        let breakage = Breakage::ALL[self.next_breakage % Breakage::ALL.len()];
        self.next_breakage += 1;
        let calendar = &self.season.calendar;
        let record = break_visit(breakage, planned, calendar, self.bounds, chance);
        let mut sendings = vec![Sending {
            day: original.day,
            bytes: record.bytes,
            meaning: Meaning::Broken(record.code),
        }];
        // A held record takes no identity: the corrected one under the same id is new.
        if chance.random_bool(self.shares.returned) {
            sendings.push(Sending {
                day: original.day + chance.random_range(1..=7),
                ..original
            });
        }
        sendings
    }

    fn corrected(
        &self,
        planned: &PlannedVisit,
        mut original: Sending,
        chance: &mut ChaCha8Rng,
    ) -> Vec<Sending> {
        let mut visit = planned.visit.clone();
        change_counts(&mut visit, chance);
        let second = self.revised(visit.clone(), 2, original.day, chance);
        let third = chance.random_bool(0.15).then(|| {
            change_counts(&mut visit, chance);
            self.revised(visit, 3, second.day, chance)
        });
        // Now and then the first record was stuck on a telephone and comes after its correction.
        let mut sendings = if chance.random_bool(0.2) {
            original.day = second.day + chance.random_range(1..=3);
            vec![second, original]
        } else {
            vec![original, second]
        };
        let latest_day = sendings[1].day;
        sendings.extend(third.map(|third| Sending {
            day: third.day.max(latest_day),
            ..third
        }));
        sendings
    }

    /// A higher revision, submitted one to ten days after the one before.
    fn revised(
        &self,
        mut visit: Visit,
        revision: u32,
        day_before: usize,
        chance: &mut ChaCha8Rng,
    ) -> Sending {
        let day = day_before + chance.random_range(1..=10);
        visit.revision = revision;
        visit.submitted_at = self.season.submitted_at(day, chance);
        Sending {
            day,
            bytes: line_of(&visit),
            meaning: Meaning::Readable {
                revision,
                content: 0,
            },
        }
    }
}

/// What must become of a sending, after the revisions and contents that were accepted before it.
fn expected(meaning: Meaning, taken: &mut Vec<(u32, u32)>) -> Expected {
    let (revision, content) = match meaning {
        Meaning::Broken(code) => return Expected::Held(code),
        Meaning::Readable { revision, content } => (revision, content),
    };
    match taken.iter().find(|(known, _)| *known == revision) {
        None => {
            taken.push((revision, content));
            Expected::Accepted
        }
        Some((_, known)) if *known == content => Expected::Duplicate,
        Some(_) => Expected::Held(Code::RevisionConflict),
    }
}

fn duplicated(original: Sending, chance: &mut ChaCha8Rng) -> Vec<Sending> {
    let bytes = if chance.random_bool(0.5) {
        original.bytes.clone()
    } else {
        in_other_words(&original.bytes)
    };
    let again = Sending {
        day: original.day + chance.random_range(0..=7),
        bytes,
        meaning: original.meaning,
    };
    vec![original, again]
}

/// The same record with its members in another order and with spaces between them.
fn in_other_words(line: &[u8]) -> Vec<u8> {
    let value: serde_json::Value =
        serde_json::from_slice(line).expect("a good record is a JSON text");
    // `Value` sorts members by name; the pretty form breaks lines only between members.
    let pretty = serde_json::to_string_pretty(&value).expect("a JSON value has a text");
    let words: Vec<&str> = pretty.lines().map(str::trim).collect();
    words.join(" ").into_bytes()
}

/// Adds eggs to one bract, so that the content differs from what it was.
fn change_counts(visit: &mut Visit, chance: &mut ChaCha8Rng) {
    let site = chance.random_range(0..visit.sites.len());
    let heads = visit.sites[site]
        .heads
        .as_mut()
        .expect("a sample visit counts heads");
    let head = chance.random_range(0..heads.len());
    let counts = heads.head_mut(head);
    let bract = chance.random_range(0..counts.len());
    let Count(eggs) = counts[bract];
    counts[bract] = Count(eggs + chance.random_range(1..=4));
}
