//! A filled count sheet goes through `load` as it is: accepted, then duplicates; what is wrong in it is held,
//! with tab, row and column in words.

use std::path::PathBuf;

use serde_json::{Map, Value, json};

use crate::judge::python;
use crate::support::held_desk::{export, open};
use crate::support::{TestWorkspace, counts, received, text_of};

/// A good row of the tab Visits.
pub fn visit_cells(row: usize, field: &str, lon: f64) -> Map<String, Value> {
    let values = json!({
        "B": {"day": "2026-07-21"}, "C": "obs-0123", "D": field, "F": lon, "G": 44.12345, "H": 62.4,
        "I": "ha", "J": "oilseed", "K": "R3", "N": 8, "O": "acre", "P": "USD", "Q": 0.16, "R": "lb", "S": 20000, "T": "acre",
    });
    let values = values.as_object().expect("an object").clone();
    values
        .into_iter()
        .map(|(column, value)| (format!("{column}{row}"), value))
        .collect()
}

/// Counts of the heads in these rows of the tab Counts, of which no two are the same.
pub fn head_cells(rows: &[usize]) -> Map<String, Value> {
    let mut cells = Map::new();
    for (place, row) in rows.iter().enumerate() {
        for (bract, column) in "EFGHIJ".chars().enumerate() {
            let eggs = (place * 5 + bract * 3) % 7;
            cells.insert(format!("{column}{row}"), json!(eggs));
        }
    }
    cells
}

/// A count sheet of the program, filled by openpyxl.
pub fn filled_sheet(workspace: &TestWorkspace, name: &str, cells: &Value) -> PathBuf {
    let out = workspace.beside("sheets");
    if !out.exists() {
        let out = text_of(&out);
        let arguments = [
            "sheet",
            "--protocol",
            "bsm-eggs",
            "--visits",
            "3",
            "--season",
            "2026",
            "--out",
            &out,
        ];
        workspace.run(&arguments).expect_code(0);
    }
    let empty = text_of(&out.join("count-sheet-bsm-eggs.xlsx"));
    let how = text_of(&workspace.write("cells.json", cells.to_string()));
    let filled = workspace.beside(name);
    let script = "tests/reference/fill_sheet.py";
    python(script, &["fill", &empty, &how, &text_of(&filled)]);
    filled
}

#[test]
fn a_filled_count_sheet_is_accepted_and_once_more_is_all_duplicates() {
    let workspace = TestWorkspace::of_region("us:46");
    let mut visits = visit_cells(2, "F-1", -100.1);
    visits.extend(visit_cells(3, "F-2", -100.2));
    // Visit 1: rows 2 to 21, visit 2: rows 22 to 41, five heads a site.
    let counted = head_cells(&[2, 3, 7, 12, 22, 23]);
    let cells = json!({"Visits": visits, "Counts": counted});
    let sheet = filled_sheet(&workspace, "week30.xlsx", &cells);
    let account = workspace.load(&[&sheet]);
    assert_eq!(counts(&account), received(2).accepted(2), "{account:#}");
    let stored = workspace.store_rows();
    assert_eq!(stored["units"], 6);

    let again = workspace.load(&[&sheet]);
    assert_eq!(counts(&again), received(2).duplicate(2));
    // Saved again by another program it is another file and the same visits.
    let copy = filled_sheet(&workspace, "copy of week30.xlsx", &cells);
    assert_eq!(counts(&workspace.load(&[&copy])), received(2).duplicate(2));
    assert_eq!(workspace.store_rows()["visits"], stored["visits"]);
}

#[test]
fn a_wrong_cell_of_a_count_sheet_is_held_with_tab_row_and_column_in_words() {
    let workspace = TestWorkspace::of_region("us:46");
    let mut visits = visit_cells(2, "F-1", -100.1);
    visits.extend(visit_cells(3, "F-2", -100.2));
    visits.insert("B3".to_owned(), json!("6/7/2026"));
    let mut counted = head_cells(&[2, 3, 7, 12, 22, 23]);
    counted.insert("G7".to_owned(), json!("1/2"));
    let sheet = filled_sheet(
        &workspace,
        "week30.xlsx",
        &json!({"Visits": visits, "Counts": counted}),
    );
    let account = workspace.load(&[&sheet]);
    assert_eq!(counts(&account), received(2).held(2), "{account:#}");
    assert_eq!(open(&workspace), 2);

    let letter = export(&workspace, "xlsx", "desk", ".letter.txt");
    assert_eq!(letter.len(), 1, "one scout, one letter");
    let letter = std::fs::read_to_string(&letter[0]).expect("the letter");
    for piece in [
        "In week30.xlsx:\n",
        "  Visits, row 2 and Counts, rows 2 to 12\n",
        "    - site 2, head 1, bract 3: Counts!G7 (Bract 3): \"1/2\"\n",
        "  Visits, row 3 and Counts, rows 22 to 23\n",
        "visit date (observed_on): Visits!B3 (Day): \"6/7/2026\"\n",
        "2026-06-07",
        "2026-07-06",
        "On the sheet \"visits\"",
    ] {
        assert!(letter.contains(piece), "{piece:?} in\n{letter}");
    }
    assert!(!letter.contains("record_corrected"), "{letter}");
}
