//! The sheet of rows that were held: each unread cell is in its column, with the row as it was sent.

use serde_json::json;

use crate::support::held_desk::export;
use crate::support::mended::{WIDE, load_mapped, wide};
use crate::support::{TestWorkspace, counts, received, text_of};

// --- What the sender sees ------------------------------------------------------------------------

#[test]
fn the_sheet_shows_each_unread_cell_in_its_column_and_the_row_as_sent() {
    let workspace = TestWorkspace::of_region("us:46");
    let wide = workspace.write("wide.csv", wide());
    load_mapped(&workspace, &wide, WIDE);
    let again = load_mapped(&workspace, &wide, WIDE);
    assert_eq!(
        (counts(&again), &again["held_before"]),
        (received(3).duplicate(1).held(2), &json!(2))
    );
    let files = export(&workspace, "csv", "desk", ".visits.csv");
    let of_scout = files
        .iter()
        .find(|file| text_of(file).contains("obs-9002"))
        .expect("a file");
    let mut reader = csv::Reader::from_path(of_scout).expect("a table");
    let header = reader.headers().expect("a header").clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
    assert_eq!(rows.len(), 4, "two heads at each of two sites");
    let cell = |row: usize, name: &str| {
        let column = header
            .iter()
            .position(|header| header.trim_start_matches('\u{feff}') == name);
        rows[row][column.expect("a column")].to_owned()
    };
    for (row, name, expected) in [
        (0, "observed_on", "21/7/2026"),
        (0, "treatment_cost_amount", "about nine"),
        (0, "treatment_cost_per", ""),
        (0, "treatment_cost_currency", "USD"),
        (0, "field_id", "F-9003"),
        (0, "visit_id", ""),
        (0, "held_file", "wide.csv"),
        (0, "held_place", "row 5"),
        (1, "count_3", "1/2"),
        (1, "field_id", ""),
        (2, "side", "E"),
        (3, "side", ""),
        (
            1,
            "held_problem",
            "site 1, head 2, bract 3: U5 (S1H2B3): \"1/2\"",
        ),
    ] {
        assert_eq!(cell(row, name), expected, "{name} in row {row}");
    }
    let as_sent = cell(0, "held_as_sent");
    assert!(as_sent.contains("Date = 21/7/2026") && as_sent.contains("Cost ($/ac) = about nine"));
    assert!(
        cell(1, "held_expected").starts_with("count_3: "),
        "{}",
        cell(1, "held_expected")
    );
    let right = cell(0, "held_expected");
    for name in [
        "observed_on: ",
        "treatment_cost_amount: ",
        "treatment_cost_per: ",
    ] {
        assert!(
            right.lines().any(|line| line.starts_with(name)),
            "{name} in {right}"
        );
    }
    assert!(!right.contains("mapping"), "{right}");
}
