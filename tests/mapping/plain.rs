//! The plain layout: recognized by its header alone, with nothing guessed.

use intake::mapping::{plain_header, plain_records};
use intake::sheet::table::{Cell, Row};
use jiff::civil::date;
use scouting::visit::record::Visit;

use super::{document, findings, plain, plain_sheet, sheet, text};

fn sample_visit() -> Visit {
    let text = include_str!("../../sample_data/one_visit.json");
    serde_json::from_str(text).expect("the sample visit")
}

#[test]
fn the_plain_layout_is_told_by_its_header_alone() {
    let visit = sample_visit();
    let made = plain(&[plain_sheet(std::slice::from_ref(&visit))]);
    assert_eq!(
        serde_json::from_value::<Visit>(document(&made[0])).expect("a visit"),
        visit
    );
    let mut titled = plain_sheet(std::slice::from_ref(&visit));
    titled.rows[0].cells.insert(0, text("held_reason"));
    titled.rows[1].cells.insert(0, text("anything"));
    titled.rows[2].cells.insert(0, Cell::Empty);
    titled.rows.iter_mut().for_each(|row| row.number += 2);
    titled.rows.insert(
        0,
        Row {
            number: 1,
            cells: vec![text("Count sheet")],
        },
    );
    let instructions = sheet("Read me", vec![vec![text("Fill in one row per head.")]]);
    assert_eq!(
        plain(&[instructions.clone(), titled])[0].document,
        made[0].document
    );
    let mut other = plain_sheet(&[visit]);
    other.rows[0].cells.push(text("color"));
    assert!(plain_records(&[other, instructions], "a.csv").is_none());
}

#[test]
fn a_filled_count_sheet_need_not_repeat_the_visit() {
    let visit = sample_visit();
    let mut sheet = plain_sheet(std::slice::from_ref(&visit));
    for cell in &mut sheet.rows[2].cells[..28] {
        *cell = Cell::Empty;
    }
    // Printed for a head that was not examined.
    let mut printed = vec![Cell::Empty; 32];
    printed[28] = Cell::Number(2.0);
    printed.push(Cell::Number(1.0));
    sheet.rows.push(Row {
        number: 4,
        cells: printed,
    });
    let made = plain(&[sheet]);
    assert_eq!(made.len(), 1);
    assert_eq!(
        serde_json::from_value::<Visit>(document(&made[0])).expect("a visit"),
        visit
    );
}

#[test]
fn the_plain_layout_guesses_nothing_either() {
    let with = |column: &str, cell: Cell| {
        let mut sheet = plain_sheet(&[sample_visit()]);
        let place = plain_header(6)
            .iter()
            .position(|name| name == column)
            .expect("a column");
        for row in &mut sheet.rows[1..] {
            row.cells[place] = cell.clone();
        }
        let record = plain(&[sheet]).remove(0);
        findings(&record)[0].clone()
    };
    let cases = [
        ("observed_on", text("7/6/2026"), "date-ambiguous"),
        ("count_2", Cell::Empty, "cell-blank"),
        ("count_2", text("<5"), "number-not-exact"),
        ("lon", text("100.5 W"), "angle-not-decimal"),
        ("field_id", Cell::Empty, "cell-blank"),
        ("area_ha", text("62,4"), "number-unreadable"),
        ("crop_stage", text("'\"R3"), "text-mark-unreadable"),
        ("retracted", text("perhaps"), "truth-unreadable"),
        ("outline", text("{"), "outline-not-json"),
        (
            "plant_population_count",
            Cell::Date(date(2026, 1, 2)),
            "date-in-number",
        ),
    ];
    for (column, cell, code) in cases {
        let finding = with(column, cell);
        assert_eq!(finding.code.as_str(), code, "{column}: {finding}");
        assert!(finding.found.contains(column), "{finding}");
    }
    let mut sheet = plain_sheet(&[sample_visit()]);
    sheet.rows.iter_mut().for_each(|row| {
        row.cells.remove(15);
    });
    let failure = plain_records(&[sheet], "a.csv")
        .expect("recognized")
        .expect_err("no stage");
    assert!(failure.to_string().contains("/crop_stage"), "{failure}");
}
