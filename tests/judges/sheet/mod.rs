//! Count sheets, filled, saved and opened by other programs.

mod other_programs;
mod read_back;

use bractline::count_sheet::workbook::count_sheet_xlsx;
use intake::count_sheet::reading::count_sheet_records;
use intake::judge::validate::VisitSchema;
use intake::sheet::table::{Sheet, TableRecord};
use scouting::protocol::catalogue::Protocol;
use scouting::visit::record::Visit;
use serde_json::{Map, Value, json};
use tempfile::TempDir;

use crate::judge::python;
use crate::support::sheet::{options, sheets};

const FILL: &str = "tests/reference/fill_sheet.py";

/// A count sheet on the disk.
struct OnDisk {
    folder: TempDir,
}

impl OnDisk {
    fn of(protocol: &Protocol) -> OnDisk {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let bytes = count_sheet_xlsx(protocol, &options()).expect("a workbook");
        std::fs::write(folder.path().join("empty.xlsx"), bytes).expect("written");
        OnDisk { folder }
    }

    fn path(&self, name: &str) -> String {
        self.folder.path().join(name).display().to_string()
    }

    /// Filled by openpyxl; its tabs as the reader of workbooks gives them.
    fn filled(&self, cells: &Value) -> Vec<Sheet> {
        std::fs::write(self.path("cells.json"), cells.to_string()).expect("written");
        let (empty, cells, filled) = (
            self.path("empty.xlsx"),
            self.path("cells.json"),
            self.path("filled.xlsx"),
        );
        python(FILL, &["fill", &empty, &cells, &filled]);
        sheets(&std::fs::read(filled).expect("the filled sheet"))
    }

    fn records(&self, cells: &Value) -> Vec<TableRecord> {
        let sheets = self.filled(cells);
        count_sheet_records(&sheets, "filled.xlsx")
            .expect("a count sheet")
            .expect("with its tabs and headings")
    }

    fn described(&self) -> Value {
        let described = python(FILL, &["describe", &self.path("empty.xlsx")]);
        serde_json::from_str(&described).expect("JSON")
    }
}

/// A good row of the tab Visits.
fn visit_cells(row: usize, field: &str) -> Map<String, Value> {
    let values = json!({
        "B": {"day": "2026-07-21"}, "C": "obs-0123", "D": field, "F": -100.12345, "G": 44.12345, "H": 62.4,
        "I": "ha", "J": "oilseed", "K": "R3", "N": 8, "O": "acre", "P": "USD", "Q": 0.16, "R": "lb", "S": 20000, "T": "acre",
    });
    let values = values.as_object().expect("an object").clone();
    values
        .into_iter()
        .map(|(column, value)| (format!("{column}{row}"), value))
        .collect()
}

#[track_caller]
fn accepted(record: &TableRecord) -> Visit {
    let document = record.document.as_ref().expect("a document");
    let read = VisitSchema::new().read_value(document);
    read.unwrap_or_else(|refused| panic!("{:?}", refused.findings))
        .visit
}
