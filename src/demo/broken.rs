//! Records that must be held, each broken in one way.
//!
//! Every way of breaking names the finding code that `load` must give. A broken record is good in
//! everything else, so that no second finding hides the first.

use std::io::Write;

use geo::Rect;
use jiff::civil::Date;
use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::calendar::Calendar;
use super::chance::rounded;
use super::season::PlannedVisit;
use scouting::visit::code::Code;
use scouting::visit::count::Count;
use scouting::visit::dates::WrittenInstant;
use scouting::visit::heads::Heads;
use scouting::visit::record::Visit;

/// A way in which a record is broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Breakage {
    /// The line ends in the middle.
    LineTruncated,
    /// A number is `NaN`.
    NumberNan,
    /// A number is `1e999`.
    NumberBeyondDouble,
    /// A byte is not UTF-8: Latin-1 from an old spreadsheet.
    BytesNotUtf8,
    /// A member is there twice.
    MemberTwice,
    /// A member that the schema does not know.
    MemberUnknown,
    /// The crop stage is missing.
    MemberMissing,
    /// An optional member is `null`.
    OptionalNull,
    /// A count is text.
    CountText,
    /// A count is one half.
    CountFractional,
    /// A count is −1.
    CountNegative,
    /// A head has five bracts.
    BractsFive,
    /// A head has seven bracts.
    BractsSeven,
    /// The date is written month/day/year.
    DateForm,
    /// The visit was in spring.
    DateBeforeSeason,
    /// The visit was in November.
    DateAfterSeason,
    /// The visit was after its own submission.
    DateAfterSubmission,
    /// The stage is `R12`.
    StageBeyondScale,
    /// The stage is `bloom`.
    StageWord,
    /// The field is east of the region.
    PointOutside,
    /// Longitude and latitude are swapped.
    PointSwapped,
    /// The price is in cents.
    PriceInCents,
    /// The cost is a hectare's, labelled as an acre's, and ten times too high.
    CostTenfold,
    /// There is no such protocol.
    ProtocolUnknown,
    /// The currency is in small letters.
    CurrencyForm,
}

impl Breakage {
    /// All of them.
    pub(crate) const ALL: [Breakage; 25] = [
        Breakage::LineTruncated,
        Breakage::CountNegative,
        Breakage::PriceInCents,
        Breakage::StageWord,
        Breakage::PointSwapped,
        Breakage::BractsFive,
        Breakage::MemberTwice,
        Breakage::DateForm,
        Breakage::NumberNan,
        Breakage::MemberMissing,
        Breakage::PointOutside,
        Breakage::CostTenfold,
        Breakage::CountFractional,
        Breakage::DateAfterSubmission,
        Breakage::BytesNotUtf8,
        Breakage::MemberUnknown,
        Breakage::BractsSeven,
        Breakage::StageBeyondScale,
        Breakage::OptionalNull,
        Breakage::DateBeforeSeason,
        Breakage::ProtocolUnknown,
        Breakage::CountText,
        Breakage::NumberBeyondDouble,
        Breakage::CurrencyForm,
        Breakage::DateAfterSeason,
    ];
}

/// A number that no good record holds, to be replaced in the text by what no number can be.
const AMOUNT_MARK: f64 = 777_777.25;
/// A count that no good record holds, likewise.
const COUNT_MARK: u32 = 987_654;
/// A remark that no good record holds, likewise.
const REMARK_MARK: &str = "caf@";

/// A broken record.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct BrokenRecord {
    /// The line.
    pub bytes: Vec<u8>,
    /// The finding code for which it must be held.
    pub code: Code,
}

/// Breaks a visit. `bounds` is the rectangle around the region, in degrees.
pub(crate) fn break_visit(
    breakage: Breakage,
    planned: &PlannedVisit,
    calendar: &Calendar,
    bounds: Rect<f64>,
    chance: &mut ChaCha8Rng,
) -> BrokenRecord {
    let mut visit = planned.visit.clone();
    let (bytes, code) = match breakage {
        Breakage::LineTruncated => {
            let mut line = line_of(&visit);
            line.truncate(line.len() * chance.random_range(30..90) / 100);
            (line, Code::NotJson)
        }
        Breakage::NumberNan => (with_area(visit, "NaN"), Code::NotJson),
        // Grammatical JSON, but no number that a double holds: it cannot be read as a value.
        Breakage::NumberBeyondDouble => (with_area(visit, "1e999"), Code::NotJson),
        Breakage::BytesNotUtf8 => {
            visit.remarks = Some(REMARK_MARK.to_owned());
            let mut line = line_of(&visit);
            let mark = REMARK_MARK.as_bytes();
            let place = line
                .windows(mark.len())
                .rposition(|bytes| bytes == mark)
                .expect("the remark was just written");
            line[place + mark.len() - 1] = 0xE9;
            (line, Code::NotJson)
        }
        Breakage::MemberTwice => (
            with_text(
                &visit,
                "\"protocol\":",
                "\"protocol\":\"bsm-eggs\",\"protocol\":",
            ),
            Code::DuplicateMember,
        ),
        Breakage::MemberUnknown => (
            with_text(
                &visit,
                "\"protocol\":",
                "\"weather\":\"clear\",\"protocol\":",
            ),
            Code::MemberUnknown,
        ),
        Breakage::MemberMissing => {
            let member = format!("\"crop_stage\":\"{}\",", visit.crop_stage);
            (with_text(&visit, &member, ""), Code::MemberMissing)
        }
        Breakage::OptionalNull => {
            visit.remarks = Some(REMARK_MARK.to_owned());
            let text = format!("\"{REMARK_MARK}\"");
            (with_text(&visit, &text, "null"), Code::WrongType)
        }
        Breakage::CountText => (with_count(visit, "\"3\""), Code::WrongType),
        Breakage::CountFractional => (with_count(visit, "0.5"), Code::WrongType),
        Breakage::CountNegative => (with_count(visit, "-1"), Code::OutOfRange),
        Breakage::BractsFive => {
            change_first_head(&mut visit, |counts| {
                counts.pop();
            });
            (line_of(&visit), Code::CountsPerHeadWrong)
        }
        Breakage::BractsSeven => {
            change_first_head(&mut visit, |counts| counts.push(Count(0)));
            (line_of(&visit), Code::CountsPerHeadWrong)
        }
        Breakage::DateForm => {
            let date = visit.observed_on;
            let (month, day, year) = (date.month(), date.day(), date.year());
            let written = format!("\"observed_on\":\"{date}\"");
            let broken = format!("\"observed_on\":\"{month:02}/{day:02}/{year}\"");
            (with_text(&visit, &written, &broken), Code::WrongForm)
        }
        Breakage::DateBeforeSeason => {
            let day = calendar.day_of(4, 1) + chance.random_range(0..40);
            visit.observed_on = calendar.date(day);
            (line_of(&visit), Code::DateOutsideSeason)
        }
        Breakage::DateAfterSeason => {
            let day = calendar.day_of(11, 1) + chance.random_range(0..20);
            visit.observed_on = calendar.date(day);
            visit.submitted_at = evening(calendar.date(day));
            (line_of(&visit), Code::DateOutsideSeason)
        }
        Breakage::DateAfterSubmission => {
            let submitted = calendar.date(planned.observed_day - chance.random_range(2..6));
            visit.submitted_at = evening(submitted);
            (line_of(&visit), Code::DateAfterSubmission)
        }
        Breakage::StageBeyondScale => {
            "R12".clone_into(&mut visit.crop_stage);
            (line_of(&visit), Code::StageUnknown)
        }
        Breakage::StageWord => {
            "bloom".clone_into(&mut visit.crop_stage);
            (line_of(&visit), Code::StageUnknown)
        }
        Breakage::PointOutside => {
            let east = bounds.max().x + chance.random_range(1.0..4.0);
            visit.field.lon = Some(rounded(east, 5));
            visit.field.outline = None;
            (line_of(&visit), Code::OutsideRegion)
        }
        Breakage::PointSwapped => {
            let field = &mut visit.field;
            std::mem::swap(&mut field.lon, &mut field.lat);
            field.outline = None;
            let code = if field.lat.is_some_and(|lat| lat.abs() > 90.0) {
                Code::OutOfRange
            } else {
                Code::OutsideRegion
            };
            (line_of(&visit), code)
        }
        Breakage::PriceInCents => {
            if let Some(value) = &mut visit.economics.market_value {
                value.amount = rounded(value.amount * 100.0, 2);
            }
            (line_of(&visit), Code::MarketValueImplausible)
        }
        Breakage::CostTenfold => {
            if let Some(cost) = &mut visit.economics.treatment_cost {
                // 2.471 acres in a hectare: $6 an acre becomes 148, beyond 120.
                cost.amount = rounded(cost.amount * 24.71, 2);
                cost.per = scouting::visit::record::AreaUnit::Acre;
            }
            (line_of(&visit), Code::TreatmentCostImplausible)
        }
        Breakage::ProtocolUnknown => {
            "moth-eggs".clone_into(&mut visit.protocol);
            (line_of(&visit), Code::ProtocolUnknown)
        }
        Breakage::CurrencyForm => {
            if let Some(cost) = &mut visit.economics.treatment_cost {
                "usd".clone_into(&mut cost.currency);
            }
            (line_of(&visit), Code::WrongForm)
        }
    };
    BrokenRecord { bytes, code }
}

/// The evening of a day.
fn evening(day: Date) -> WrittenInstant {
    let written = format!("{day}T20:15:00Z");
    WrittenInstant::read(&written).expect("a day of the calendar with a time")
}

/// The visit as one line of JSON.
pub(crate) fn line_of(visit: &Visit) -> Vec<u8> {
    let mut line = Line(Vec::with_capacity(1_536));
    serde_json::to_writer(&mut line, visit).expect("writing to memory does not fail");
    line.0
}

/// A line being written. Counts come a digit and a comma at a time, so single bytes take a short
/// way: in the development profile that takes a third off the whole generator's time.
struct Line(Vec<u8>);

impl Write for Line {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.write_all(bytes).map(|()| bytes.len())
    }

    fn write_all(&mut self, bytes: &[u8]) -> std::io::Result<()> {
        match bytes {
            [byte] => self.0.push(*byte),
            _ => self.0.extend_from_slice(bytes),
        }
        Ok(())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

fn change_first_head(visit: &mut Visit, change: impl FnOnce(&mut Vec<Count>)) {
    let heads = first_heads(visit);
    let mut each: Vec<Vec<Count>> = heads.iter().map(<[Count]>::to_vec).collect();
    change(&mut each[0]);
    *heads = each.into_iter().collect();
}

fn first_heads(visit: &mut Visit) -> &mut Heads {
    visit
        .sites
        .first_mut()
        .and_then(|site| site.heads.as_mut())
        .expect("a sample visit has a site with heads")
}

fn with_area(mut visit: Visit, text: &str) -> Vec<u8> {
    visit.field.area_ha = AMOUNT_MARK;
    with_text(&visit, &AMOUNT_MARK.to_string(), text)
}

fn with_count(mut visit: Visit, text: &str) -> Vec<u8> {
    change_first_head(&mut visit, |counts| counts[0] = Count(COUNT_MARK));
    with_text(&visit, &COUNT_MARK.to_string(), text)
}

/// The visit's line with one piece of text replaced.
fn with_text(visit: &Visit, from: &str, to: &str) -> Vec<u8> {
    let line = String::from_utf8(line_of(visit)).expect("JSON is written as UTF-8");
    assert!(line.contains(from), "the record holds {from}");
    line.replacen(from, to, 1).into_bytes()
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;

    use rand::SeedableRng;

    use super::*;
    use crate::demo::chance::{Chance, Purpose};
    use crate::demo::fields::SampleField;
    use crate::demo::landscape::Landscape;
    use crate::demo::options::SampleOptions;
    use crate::demo::places::Places;
    use crate::demo::season::Season;
    use scouting::visit::code::Class;

    fn broken_records() -> Vec<(Breakage, BrokenRecord, PlannedVisit)> {
        let options = SampleOptions::default();
        let seeds = Chance::new(4);
        let shapes = Landscape::draw(4).shapes();
        let places = Places::new(&shapes, &mut seeds.stream(Purpose::Counties)).expect("counties");
        let season = Season::make(2026, &options, &places, &seeds);
        let mut chance = ChaCha8Rng::seed_from_u64(4);
        (0..20)
            .map(|number| SampleField::make(number, &places, &seeds))
            .flat_map(|field| season.visits(&field, &options, &mut chance))
            .collect::<Vec<_>>()
            .into_iter()
            .flat_map(|planned| Breakage::ALL.map(|breakage| (breakage, planned.clone())))
            .map(|(breakage, planned)| {
                let bounds = places.bounds();
                let record = break_visit(breakage, &planned, &season.calendar, bounds, &mut chance);
                (breakage, record, planned)
            })
            .collect()
    }

    #[test]
    fn every_breakage_is_listed_once() {
        let all: HashSet<Breakage> = Breakage::ALL.into_iter().collect();
        assert_eq!(all.len(), Breakage::ALL.len());
    }

    #[test]
    fn what_is_broken_in_form_does_not_conform_and_the_rest_does() {
        for (breakage, record, _) in broken_records() {
            let conforms =
                serde_json::from_slice::<Visit>(&record.bytes).is_ok_and(|visit| visit.conforms());
            let is_broken_in_form = record.code.class() == Class::Schema;
            assert_eq!(conforms, !is_broken_in_form, "{breakage:?}");
        }
    }

    #[test]
    fn not_json_is_what_the_json_reader_refuses() {
        for (breakage, record, _) in broken_records() {
            let is_json = serde_json::from_slice::<serde_json::Value>(&record.bytes).is_ok();
            assert_eq!(is_json, record.code != Code::NotJson, "{breakage:?}");
        }
    }

    #[test]
    fn a_rule_is_broken_by_what_its_code_says_and_by_nothing_else() {
        for (breakage, record, planned) in broken_records() {
            let Ok(broken) = serde_json::from_slice::<Visit>(&record.bytes) else {
                continue;
            };
            let mut corrected = broken.clone();
            let good = planned.visit;
            match record.code {
                Code::CountsPerHeadWrong => {
                    let bracts = first_heads(&mut corrected).head(0).len();
                    assert!(bracts == 5 || bracts == 7);
                    corrected.sites.clone_from(&good.sites);
                }
                Code::DateOutsideSeason => {
                    let month = broken.observed_on.month();
                    assert!([4, 5, 11].contains(&month), "{month}");
                    assert!(broken.observed_on <= broken.submitted_at.day());
                    corrected.observed_on = good.observed_on;
                    corrected.submitted_at.clone_from(&good.submitted_at);
                }
                Code::DateAfterSubmission => {
                    assert!(broken.observed_on > broken.submitted_at.day());
                    corrected.submitted_at.clone_from(&good.submitted_at);
                }
                Code::StageUnknown => corrected.crop_stage.clone_from(&good.crop_stage),
                Code::OutsideRegion => {
                    assert!(broken.field.lon.is_some_and(|lon| lon > -98.4));
                    corrected.field.clone_from(&good.field);
                }
                Code::MarketValueImplausible => {
                    let value = broken.economics.market_value.as_ref().expect("a value");
                    assert!(value.amount > 4.0 / 0.453_592_37);
                    corrected.economics.clone_from(&good.economics);
                }
                Code::TreatmentCostImplausible => {
                    let cost = broken.economics.treatment_cost.as_ref().expect("a cost");
                    assert!(cost.amount > 120.0);
                    corrected.economics.clone_from(&good.economics);
                }
                Code::ProtocolUnknown => corrected.protocol.clone_from(&good.protocol),
                Code::OutOfRange => {
                    assert!(
                        broken.field.lat.is_some_and(|lat| lat < -90.0),
                        "{breakage:?}"
                    );
                    corrected.field.clone_from(&good.field);
                }
                Code::WrongForm => corrected.economics.clone_from(&good.economics),
                other => panic!("{breakage:?} was read in spite of {other}"),
            }
            assert_eq!(corrected, good, "{breakage:?}");
        }
    }
}
