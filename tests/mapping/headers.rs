//! Header rows: empty and repeated ones, and merged cells.

use intake::sheet::table::Cell;
use serde_json::json;

use super::{base_header, base_row, base_sheet, document, records, sheet, text};
use crate::support::mapping::BASE;

#[test]
fn a_row_that_says_nothing_or_repeats_the_header_is_no_record() {
    let sheet = base_sheet(|rows| {
        rows.push(vec![Cell::Empty, text(" ")]);
        rows.push(base_header());
        rows.push(base_row());
        rows.push(vec![text("Total"), Cell::Empty, Cell::Number(6.0)]);
    });
    let skip = "[[skip]]\nname = \"Id\"\nmatches = \"(?i)^total\"\n";
    let lines: Vec<u64> = records(&format!("{BASE}\n{skip}"), sheet.clone())
        .iter()
        .map(|record| record.line)
        .collect();
    assert_eq!(lines, [2, 5]);
    let lines: Vec<u64> = records(BASE, sheet)
        .iter()
        .map(|record| record.line)
        .collect();
    assert_eq!(
        lines,
        [2, 5, 6],
        "a total that the mapping does not name is held, not lost"
    );
}

#[test]
fn merged_headers_are_joined_and_fill_to_the_right() {
    let mut upper = vec![Cell::Empty; 7];
    upper.extend([text("Bud 1"), Cell::Empty, text("Bud 2"), Cell::Empty]);
    let mut lower = base_header();
    lower.truncate(7);
    lower.extend(["a", "b", "a", "b"].map(text));
    let mut row = base_row();
    row.truncate(7);
    row.extend([1.0, 2.0, 3.0, 4.0].map(Cell::Number));
    let sheet = sheet("Visits", vec![vec![text("Invented")], upper, lower, row]);
    let mapping_text = BASE
        .replace("[rows]", "[dialect]\nheaderRows = [2, 3]\nheaderJoin = \" / \"\n\n[rows]")
        .replace("name = \"Eggs\"\nto = \"/sites/{site}/heads/{head}/{bract}\"",
            "namePattern = '^Bud (?<head>[0-9]+) / a$'\nto = \"/sites/{site}/heads/{head}/1\"\n\n\
             [[field]]\nnamePattern = '^Bud (?<head>[0-9]+) / b$'\nto = \"/sites/{site}/heads/{head}/2\"");
    let record = &records(&mapping_text, sheet)[0];
    assert_eq!(
        document(record)["sites"],
        json!([{"site": 1, "heads": [[1, 2], [3, 4]]}])
    );
    assert_eq!(record.places["/sites/0/heads/1/0"], "Visits!J4 (Bud 2 / a)");
}

#[test]
fn a_merged_header_ends_where_one_above_it_begins() {
    let cells = |texts: [&str; 4]| texts.map(text);
    let mut lines = [vec![Cell::Empty; 7], vec![Cell::Empty; 7], base_header()];
    lines[2].truncate(7);
    lines[0].extend(cells(["Site 1", "", "Site 2", ""]));
    lines[1].extend(cells(["", "Bud 1", "", "Bud 1"]));
    lines[2].extend(cells(["Side", "a", "Side", "a"]));
    let mut row = base_row();
    row.truncate(7);
    row.extend([text("N"), Cell::Number(1.0), text("E"), Cell::Number(2.0)]);
    let mapping_text = BASE
        .replace("[rows]", "[dialect]\nheaderRows = [1, 2, 3]\nheaderJoin = \" / \"\n\n[rows]")
        .replace("name = \"Eggs\"\nto = \"/sites/{site}/heads/{head}/{bract}\"",
            "namePattern = '^Site (?<site>[0-9]) / Bud (?<head>[0-9]) / a$'\nto = \"/sites/{site}/heads/{head}/1\"\n\n\
             [[field]]\nnamePattern = '^Site (?<site>[0-9]) / Side$'\nto = \"/sites/{site}/side\"");
    let [top, middle, last] = lines;
    let record = &records(&mapping_text, sheet("Visits", vec![top, middle, last, row]))[0];
    assert_eq!(
        document(record)["sites"],
        json!([{"site": 1, "side": "N", "heads": [[1]]}, {"site": 2, "side": "E", "heads": [[2]]}])
    );
}
