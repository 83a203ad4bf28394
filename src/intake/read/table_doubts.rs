//! Doubts about a record of a table that its other rows raise: a day in another order of day and month, areas in acres.
//!
//! Every bound is our own choice, with its reason next to it.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde_json::Value;

use crate::corrections::kept_rows::SentRows;
use crate::read::raw_record::{RawRecord, Sent};
use crate::sheet::table::{Cell, TableRecord};
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;

/// Days of one table are hardly further apart: it is handed in each week or two.
const FAR_DAYS: i64 = 20;
/// So many days of other rows say where the table's days are.
const OTHER_DAYS_MIN: usize = 2;
/// Acres that parts of a section have. The US Public Land Survey System cuts a section of 640 acres into quarters of 160
/// and quarters of those (Manual of Surveying Instructions, Bureau of Land Management).
const ACRES: [f64; 9] = [
    40.0, 80.0, 120.0, 160.0, 240.0, 320.0, 480.0, 640.0, 1_280.0,
];
/// A quarter section: smaller figures are round in hectares as well, so one area at least is as large.
const QUARTER_SECTION: f64 = 160.0;
/// Fewer fields may have such an area by chance.
const FIELDS_LIKE_ACRES_MIN: usize = 2;

/// Adds the doubts to the records of a table.
pub(crate) fn doubt_by_other_rows(records: &mut [RawRecord]) {
    let mut rows: Vec<&mut TableRecord> = records
        .iter_mut()
        .filter_map(|record| match &mut record.sent {
            Sent::Rows(rows) => Some(&mut **rows),
            Sent::Bytes(_) => None,
        })
        .collect();
    doubt_days(&mut rows);
    doubt_areas(&mut rows);
}

fn member<'r>(rows: &'r TableRecord, pointer: &str) -> Option<&'r Value> {
    rows.document.as_ref().ok()?.pointer(pointer)
}

fn day_of(rows: &TableRecord) -> Option<Date> {
    member(rows, "/observed_on")?.as_str()?.parse().ok()
}

/// A day far from all others of the table, which the other order of day and month brings near them.
fn doubt_days(rows: &mut [&mut TableRecord]) {
    let mut days: BTreeMap<Date, usize> = BTreeMap::new();
    for day in rows.iter().filter_map(|rows| day_of(rows)) {
        *days.entry(day).or_default() += 1;
    }
    let all: usize = days.values().sum();
    for rows in rows.iter_mut() {
        let Some(day) = day_of(rows) else { continue };
        let alike = days.get(&day).copied().unwrap_or_default();
        let others = all - alike;
        let Some(other) = other_order(day).filter(|_| others >= OTHER_DAYS_MIN && others > alike)
        else {
            continue;
        };
        let apart = |one: Date| {
            let others = days.keys().filter(|other| **other != day);
            others.map(|other| days_between(one, *other)).min()
        };
        let is_far = apart(day).is_some_and(|days| days > FAR_DAYS);
        let is_near = apart(other).is_some_and(|days| days <= FAR_DAYS);
        if is_far && is_near && is_written_in_numbers(rows) {
            let place = rows.place("/observed_on").unwrap_or_default();
            let doubt = Finding::new(
                Code::DayMonthOrder,
                "/observed_on",
                format!(
                    "{place}: read as {day}, far from the other rows; with day and month in the other order it is {other}, near them"
                ),
                "which day is meant? if it is the other one, correct the visit (`bractline visit edit`) and write the days of the sheet in one order",
            );
            rows.doubts.push(doubt);
        }
    }
}

/// The day whose day and month are in each other's place, if there is one.
fn other_order(day: Date) -> Option<Date> {
    let other = Date::new(day.year(), day.day(), day.month()).ok()?;
    (other != day).then_some(other)
}

fn days_between(one: Date, other: Date) -> i64 {
    (one.duration_since(other).as_hours() / 24).abs()
}

/// Whether the cell is one in which day and month can change places: a date of a workbook, which may have been taken in
/// the order of another country, or figures with the year at their end.
fn is_written_in_numbers(rows: &TableRecord) -> bool {
    let sent: Option<SentRows> = serde_json::from_str(&rows.as_sent).ok();
    let place = rows.places.get("/observed_on");
    let cell = sent.zip(place).and_then(|(sent, place)| {
        sent.cell(place.rsplit(", carried down from ").next().unwrap_or(place))
    });
    match cell {
        Some(Cell::Date(_) | Cell::Moment(_) | Cell::Number(_)) => true,
        Some(Cell::Text(text)) => {
            let figures = text.trim().bytes().take_while(u8::is_ascii_digit).count();
            (1..=2).contains(&figures) && !text.contains(char::is_alphabetic)
        }
        _ => false,
    }
}

/// Areas in hectares that are figures of acres.
fn doubt_areas(rows: &mut [&mut TableRecord]) {
    let area_of = |rows: &TableRecord| member(rows, "/field/area_ha").and_then(Value::as_f64);
    let mut areas: BTreeMap<String, f64> = BTreeMap::new();
    for rows in rows.iter() {
        let field_id = member(rows, "/field/field_id").and_then(Value::as_str);
        if let Some((field_id, area)) = field_id.zip(area_of(rows)) {
            areas.insert(field_id.to_owned(), area);
        }
    }
    let alike: Vec<f64> = areas.values().copied().filter(is_like_acres).collect();
    let has_quarter = alike.iter().any(|area| *area >= QUARTER_SECTION);
    if alike.len() < FIELDS_LIKE_ACRES_MIN || alike.len() * 2 < areas.len() || !has_quarter {
        return;
    }
    for rows in rows.iter_mut() {
        let Some(area) = area_of(rows).filter(is_like_acres) else {
            continue;
        };
        let place = rows.place("/field/area_ha").unwrap_or_default();
        let doubt = Finding::new(
            Code::AreaLikeAcres,
            "/field/area_ha",
            format!(
                "{place}: {area} ha, and {} of {} fields have the acres of parts of a section",
                alike.len(),
                areas.len()
            ),
            "are these acres? then the mapping says unit = \"acre\" for area_ha, and `load --supersede` takes the file again",
        );
        rows.doubts.push(doubt);
    }
}

fn is_like_acres(area: &f64) -> bool {
    ACRES.contains(area)
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    /// A record of a field, with the cell of its day, the day that was read, and its area.
    fn record(number: usize, cell: &str, day: &str, area: f64) -> RawRecord {
        RawRecord {
            line: number as u64,
            mends: None,
            returned: None,
            sent: Sent::Rows(Box::new(TableRecord {
                line: number as u64,
                as_sent: json!({"sheet": "", "header": ["Date"],
                    "rows": [{"row": number, "cells": [cell]}]})
                .to_string(),
                document: Ok(json!({"observed_on": day,
                    "field": {"field_id": format!("F-{number}"), "area_ha": area}})),
                draft: Value::Null,
                id_recipe: None,
                places: BTreeMap::from([("/observed_on".to_owned(), format!("A{number} (Date)"))]),
                submission_fixed_by: None,
                doubts: Vec::new(),
            })),
        }
    }

    fn doubted(records: &[(&str, &str, f64)]) -> Vec<Vec<Code>> {
        let records = records.iter().enumerate();
        let mut records: Vec<RawRecord> = records
            .map(|(place, (cell, day, area))| record(place + 2, cell, day, *area))
            .collect();
        doubt_by_other_rows(&mut records);
        let doubts = |record: &RawRecord| match &record.sent {
            Sent::Rows(rows) => rows.doubts.iter().map(|doubt| doubt.code).collect(),
            Sent::Bytes(_) => Vec::new(),
        };
        records.iter().map(doubts).collect()
    }

    #[test]
    fn a_day_that_the_other_order_brings_near_the_others_is_doubted() {
        let near = [
            ("07/20/2026", "2026-07-20", 60.0),
            ("07/21/2026", "2026-07-21", 61.0),
            ("07/31/2026", "2026-07-31", 62.0),
        ];
        let with = |cell, day| doubted(&[&near[..], &[(cell, day, 63.0)]].concat());
        let last = with("06/08/2026", "2026-06-08");
        assert_eq!(last, [vec![], vec![], vec![], vec![Code::DayMonthOrder]]);
        for (cell, day) in [
            // ISO, or with the month's name, there is no other order.
            ("2026-06-08", "2026-06-08"),
            ("8 Jun 2026", "2026-06-08"),
            // Near as it is; far in both orders; the same in both.
            ("07/08/2026", "2026-07-08"),
            ("06/01/2026", "2026-06-01"),
            ("06/06/2026", "2026-06-06"),
        ] {
            assert!(with(cell, day).iter().all(Vec::is_empty), "{cell}");
        }
        let two = doubted(&[
            ("07/20/2026", "2026-07-20", 1.0),
            ("06/08/2026", "2026-06-08", 2.0),
        ]);
        assert!(two.iter().all(Vec::is_empty), "one other row says little");
    }

    #[test]
    fn areas_of_quarter_sections_are_doubted_and_round_hectares_are_not() {
        let day = ("2026-07-20", "2026-07-20");
        let areas = |areas: &[f64]| {
            let rows: Vec<_> = areas.iter().map(|area| (day.0, day.1, *area)).collect();
            doubted(&rows)
                .iter()
                .filter(|codes| !codes.is_empty())
                .count()
        };
        assert_eq!(areas(&[160.0, 320.0, 155.5]), 2);
        assert_eq!(areas(&[40.0, 80.0, 120.0]), 0);
        assert_eq!(areas(&[160.0]), 0);
        assert_eq!(areas(&[160.0, 80.0, 33.0, 34.0, 35.0]), 0);
        assert_eq!(areas(&[64.7, 129.5, 32.4]), 0);
    }
}
