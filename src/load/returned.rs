//! Records that come back corrected, compared with what was sent out: which held record each corrects, and whether it still
//! has the units that this had.
//!
//! A sheet may have lost the ids of its records. Then its other columns say which are meant, or the record itself does; a
//! second held record next to the first would be a thing to correct twice.

use std::collections::HashMap;

use serde_json::Value;

use intake::corrections::kept_rows::read_kept;
use intake::corrections::returned::{Clues, Returned, ReturnedUnits};
use intake::corrections::returned_header::lost_column;
use intake::corrections::row_text::{in_lines, place_of};
use intake::corrections::sent_out::{HELD_ID, HELD_UNITS};
use intake::corrections::units::{Units, most_counts, number_is_asked, unit_word};
use intake::read::raw_record::{RawRecord, Sent};
use intake::read::reader::RecordReader;
use scouting::failure::Failure;
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;
use scouting::visit::held_id::HeldId;
use scouting::visit::words::on_one_line;
use store::delta::tables::Store;
use store::ledger::held::{HeldRecord, open_records};
use store::ledger::known::KnownRecords;

/// Says of each record that comes back which held record it corrects, and what is wrong with the number of its units.
///
/// # Errors
/// If the ids are lost and several held records could be meant, or a column that held counts is lost.
pub(super) async fn match_up(
    (store, known): (&Store, &KnownRecords),
    reader: &mut RecordReader,
    file_name: &str,
) -> Result<(), Failure> {
    if reader.returned_mut().next().is_none() {
        return Ok(());
    }
    let open = open_records(store).await?;
    let open: Vec<SentOut> = open.into_iter().map(SentOut::of).collect();
    let mut claimed: HashMap<HeldId, u64> = HashMap::new();
    for raw in reader.returned_mut() {
        let Some(mut returned) = raw.returned.take() else {
            continue;
        };
        let sent = match raw.mends {
            Some(id) => {
                let current = known.open_held().current(id);
                open.iter().find(|sent| Some(sent.held_id) == current)
            }
            None => {
                let found = the_one_meant(raw, &returned.clues, &open, file_name)?;
                let twice = found.and_then(|sent| claimed.insert(sent.held_id, raw.line));
                if let Some(line) = twice {
                    let what = format!("the rows {line} and {} could be the same", raw.line);
                    return Err(without_ids(file_name, &what));
                }
                found
            }
        };
        settle(raw, &mut returned, sent, file_name)?;
        raw.returned = Some(returned);
    }
    Ok(())
}

fn settle(
    raw: &mut RawRecord,
    returned: &mut Returned,
    sent: Option<&SentOut>,
    file_name: &str,
) -> Result<(), Failure> {
    if returned.lacks_recipe {
        raw.identify(sent.and_then(|sent| sent.recipe.as_deref()));
    }
    if raw.mends.is_none() {
        raw.mends = sent.map(|sent| sent.held_id);
    }
    let Some(rows) = &returned.rows else {
        return Ok(());
    };
    let counts = sent.map_or(0, |sent| most_counts(&sent.visit));
    if counts > rows.bracts {
        let lost = format!("it lacks the column \"count_{}\"", rows.bracts + 1);
        return Err(lost_column(file_name, &lost).at(rows.place.clone()));
    }
    let changed = units_changed(rows, sent, &document(raw));
    returned.findings.extend(changed);
    Ok(())
}

/// A held record as it was sent out.
struct SentOut {
    held_id: HeldId,
    /// Where it was, as it says in rows, and as it says in JSON.
    clues: Vec<Clues>,
    visit: Value,
    recipe: Option<String>,
    /// Whether it went out without the number of its units, for its sender to state.
    number_is_asked: bool,
}

impl SentOut {
    fn of(held: HeldRecord) -> SentOut {
        let HeldRecord { entry, record } = held;
        let file = on_one_line(&entry.file_name);
        let clues = |place: String, as_sent: String| Clues {
            file: file.clone(),
            place,
            as_sent,
        };
        let in_rows = read_kept(&record);
        let of_rows = in_rows.as_ref();
        let of_rows = of_rows.map(|(sent, _)| clues(place_of(sent), in_lines(sent)));
        let of_json = clues(entry.line.to_string(), record.clone());
        let number_is_asked = in_rows
            .as_ref()
            .is_some_and(|(_, read)| number_is_asked(read, &entry.findings));
        let (visit, recipe) = match in_rows {
            Some((_, read)) => (read.visit, read.id_recipe),
            None => (serde_json::from_str(&record).unwrap_or_default(), None),
        };
        SentOut {
            held_id: entry.held_id,
            clues: of_rows.into_iter().chain([of_json]).collect(),
            visit,
            recipe,
            number_is_asked,
        }
    }

    /// Whether a record is of the same visit, as far as its members say so.
    fn is_alike(&self, visit: &Value) -> bool {
        let same = |pointer: &str| {
            let own = self.visit.pointer(pointer).filter(|value| !value.is_null());
            own.is_some() && own == visit.pointer(pointer)
        };
        same("/visit_id") && same("/revision")
            || same("/field/field_id")
                && same("/observer_id")
                && (same("/sites") || same("/observed_on"))
    }
}

/// The held record that a record without an id corrects: the one that its sheet says, or, where that was replaced since, the
/// only one of the same visit; `None` if none is open that it could be.
fn the_one_meant<'a>(
    raw: &RawRecord,
    clues: &Clues,
    open: &'a [SentOut],
    file_name: &str,
) -> Result<Option<&'a SentOut>, Failure> {
    let visit = document(raw);
    let said = |sent: &&SentOut| sent.clues.iter().any(|held| clues.fit(held));
    let mut meant: Vec<&SentOut> = open.iter().filter(said).collect();
    if meant.is_empty() {
        meant = open.iter().filter(|sent| sent.is_alike(&visit)).collect();
    }
    match meant.as_slice() {
        [] => Ok(None),
        [one] => Ok(Some(*one)),
        several => {
            let what = format!(
                "{} held records could be meant by row {}",
                several.len(),
                raw.line
            );
            Err(without_ids(file_name, &what))
        }
    }
}

fn without_ids(file_name: &str, what: &str) -> Failure {
    let what = format!("its column {HELD_ID:?} is missing or blank, and {what}");
    lost_column(file_name, &what)
}

/// The record as far as it could be read.
fn document(raw: &RawRecord) -> Value {
    match &raw.sent {
        Sent::Rows(rows) => rows.document.as_ref().unwrap_or(&rows.draft).clone(),
        Sent::Bytes(bytes) => serde_json::from_slice(bytes).unwrap_or_default(),
    }
}

/// Units came or went, and the sheet does not say that this is meant.
fn units_changed(rows: &ReturnedUnits, sent: Option<&SentOut>, visit: &Value) -> Option<Finding> {
    let back = rows.units.sum();
    let out = sent.map(|sent| Units::of(&sent.visit));
    let is_asked = sent.is_some_and(|sent| sent.number_is_asked);
    let out_sum = out.as_ref().map_or(0, Units::sum);
    let stated = match &rows.stated {
        Some(Ok(stated)) if *stated == back => return None,
        Some(Ok(stated)) => format!("{HELD_UNITS} says {stated}"),
        Some(Err(text)) => format!("{HELD_UNITS} says {text:?}, which is no whole number"),
        None if !is_asked && (out_sum == 0 || out_sum == back) => return None,
        None => format!("{HELD_UNITS} is blank"),
    };
    let unit = unit_word(visit);
    let sent_out = out.filter(|out| out.sum() != back);
    let sent_out = sent_out.map_or_else(String::new, |out| {
        format!("; it was sent out with {}", out.in_words(unit))
    });
    Some(Finding::new(
        Code::UnitsChanged,
        "/sites",
        format!(
            "{}: {} came back with {}{sent_out}, and {stated}",
            rows.stated_at,
            visit_in_words(visit),
            rows.units.in_words(unit)
        ),
        format!(
            "put back a {unit}'s row that was lost, or take out one that was added by mistake, so that {HELD_UNITS} \
             is the number of rows with counts; if the visit really has {back} {unit}s, write {back} into {HELD_UNITS}"
        ),
    ))
}

fn visit_in_words(visit: &Value) -> String {
    let text = |pointer: &str| visit.pointer(pointer).and_then(Value::as_str);
    let field = text("/field/field_id").unwrap_or("unknown");
    match text("/visit_id").filter(|id| !id.is_empty()) {
        Some(visit_id) => format!("visit {visit_id} of field {field}"),
        None => format!("the visit of field {field}"),
    }
}
