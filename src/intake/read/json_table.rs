//! Another program's JSON as a sheet: a row for each record, and a column for each value in it, named by its JSON Pointer
//! (RFC 6901).
//!
//! GeoJSON (RFC 7946) is read so as well, its features as the records. A record without objects and lists in it has the
//! names of its members as columns, as a form's download does in any format.

use std::collections::{BTreeSet, HashMap};

use serde_json::{Map, Value};

use crate::read::submitted::{Form, SubmittedFile};
use crate::read::text_table::text_of;
use crate::sheet::grid::{Allowance, CELLS_MAX, Grid, ROW_CELLS_MAX, refused};
use crate::sheet::strict::{pointer_step, strict_value};
use crate::sheet::table::{Cell, JsonRows, Sheet};
use scouting::failure::{Failure, Kind};

/// Size of a document, unpacked: its values take some ten times as much memory.
const FILE_BYTES_MAX: usize = 8 << 20;
/// Memory that the sheet may take.
const SHEET_BYTES_MAX: usize = 128 << 20;
/// Begins the names of what a document says of all its records.
const OF_DOCUMENT: &str = "document";
/// Members besides its one list that a document has, and no more: with more it is a record that has a list.
const SAID_MAX: usize = 3;
/// Where the records of GeoJSON are.
const FEATURES: &str = "document/features";
/// What a collection of features says of itself; its crs is looked at before.
const OF_COLLECTION: [&str; 3] = ["document/crs", "document/bbox", "document/name"];

/// Reads a JSON document, or a line of JSON for each record, as one sheet.
///
/// # Errors
/// If it is no JSON, larger than what is read of a table, or has no records where they should be.
pub(crate) fn read_json_table(file: &SubmittedFile, at: JsonRows<'_>) -> Result<Sheet, Failure> {
    let text = text_of(file, FILE_BYTES_MAX)?;
    let document = document(&text, file)?;
    let found = records(&document, at.records, &file.name)?;
    let mut columns = Columns::default();
    let mut rows = Vec::new();
    for (place, record) in found.records.iter().enumerate() {
        let Value::Object(record) = record else {
            return Err(unfit(
                &file.name,
                &format!("record {} is no object", place + 1),
            ));
        };
        for item in items(record, at.rows_of, place, &file.name)? {
            let mut row = Vec::new();
            for (name, value) in found.said.into_iter().flatten() {
                let at = format!("{OF_DOCUMENT}{}", pointer_step(name));
                if found.list == FEATURES && OF_COLLECTION.contains(&at.as_str()) {
                    continue;
                }
                columns.add(&at, value, Some(&found.list), &mut row);
            }
            for (name, value) in record {
                columns.add(&pointer_step(name), value, at.rows_of, &mut row);
            }
            if let (Some(item), Some(list)) = (item, at.rows_of) {
                columns.add(list, item, None, &mut row);
            }
            columns.take_cells(row.len(), &file.name)?;
            rows.push(row);
        }
    }
    columns.sheet(rows, &file.name)
}

/// The document; of lines, the list of them.
fn document(text: &str, file: &SubmittedFile) -> Result<Value, Failure> {
    let read = |text: &str, place: String| match strict_value(text) {
        Ok(read) if read.repeated.is_empty() => Ok(read.value),
        Ok(read) => Err(unfit(
            &file.name,
            &format!("{place}the member {} is there twice", read.repeated[0]),
        )),
        Err(error) => Err(unfit(&file.name, &format!("{place}it is no JSON: {error}"))),
    };
    if file.form != Form::Ndjson {
        return read(text.trim_start_matches('\u{feff}'), String::new());
    }
    let lines = text.lines().enumerate();
    let records = lines
        .filter(|(_, line)| !line.trim().is_empty())
        .map(|(place, line)| read(line, format!("line {}: ", place + 1)));
    let mut records = records.collect::<Result<Vec<Value>, Failure>>()?;
    match records.as_slice() {
        [Value::Object(_) | Value::Array(_)] => Ok(records.swap_remove(0)),
        _ => Ok(Value::Array(records)),
    }
}

/// The records of a document, and what it says of all of them.
struct Found<'d> {
    records: Vec<&'d Value>,
    /// The members of the document, if it is an object that holds the records.
    said: Option<&'d Map<String, Value>>,
    /// The column that the list of records would be, among those of `said`.
    list: String,
}

impl<'d> Found<'d> {
    fn alone(records: Vec<&'d Value>) -> Found<'d> {
        Found {
            records,
            said: None,
            list: String::new(),
        }
    }

    fn within(document: &'d Map<String, Value>, list: &str, records: &'d [Value]) -> Found<'d> {
        Found {
            records: records.iter().collect(),
            said: Some(document),
            list: format!("{OF_DOCUMENT}{list}"),
        }
    }
}

fn records<'d>(document: &'d Value, at: Option<&str>, name: &str) -> Result<Found<'d>, Failure> {
    let object = match (document, at) {
        (Value::Object(object), _) => object,
        (Value::Array(records), None) => return Ok(Found::alone(records.iter().collect())),
        _ => return Err(unfit(name, "it is neither an object nor a list")),
    };
    let list_at = |pointer: &str| document.pointer(pointer).and_then(Value::as_array);
    if let Some(pointer) = at {
        return match list_at(pointer) {
            Some(records) => Ok(Found::within(object, pointer, records)),
            None => Err(unfit(
                name,
                &format!("there is no list of records at {pointer}"),
            )),
        };
    }
    if object.get("type").and_then(Value::as_str) == Some("FeatureCollection") {
        refuse_other_crs(object, name)?;
        return match list_at("/features") {
            Some(features) => Ok(Found::within(object, "/features", features)),
            None => Err(unfit(name, "its FeatureCollection has no features")),
        };
    }
    let is_list = |value: &Value| {
        let items = value.as_array();
        items.is_some_and(|items| !items.is_empty() && items.iter().all(Value::is_object))
    };
    let mut lists = object.iter().filter(|(_, value)| is_list(value));
    match (lists.next(), lists.next()) {
        // One list next to the members of a record is a part of that record.
        (Some((list, Value::Array(records))), None) if object.len() <= 1 + SAID_MAX => {
            Ok(Found::within(object, &pointer_step(list), records))
        }
        _ => Ok(Found::alone(vec![document])),
    }
}

/// RFC 7946 has WGS 84 alone; an older file may say otherwise, and its points would be elsewhere.
fn refuse_other_crs(object: &Map<String, Value>, name: &str) -> Result<(), Failure> {
    let named = object
        .get("crs")
        .and_then(|crs| crs.pointer("/properties/name"));
    match (object.get("crs"), named.and_then(Value::as_str)) {
        (None | Some(Value::Null), _) => Ok(()),
        (_, Some(named)) if named.ends_with("CRS84") || named.ends_with(":4326") => Ok(()),
        (_, named) => Err(unfit(
            name,
            &format!("its crs is {}, not WGS 84", named.unwrap_or("not named")),
        )
        .mend("export it again in longitude and latitude, WGS 84 (EPSG:4326)")),
    }
}

/// The rows of a record: itself, or the items of its list. A record whose list is empty is a row without an item.
fn items<'d>(
    record: &'d Map<String, Value>,
    list: Option<&str>,
    place: usize,
    name: &str,
) -> Result<Vec<Option<&'d Value>>, Failure> {
    let Some(list) = list else {
        return Ok(vec![None]);
    };
    let mut steps = list.split('/').skip(1);
    let first = steps.next().and_then(|step| record.get(step));
    let found = steps.fold(first, |value, step| value.and_then(|value| value.get(step)));
    match found {
        Some(Value::Array(items)) if !items.is_empty() => Ok(items.iter().map(Some).collect()),
        None | Some(Value::Null | Value::Array(_)) => Ok(vec![None]),
        Some(_) => Err(unfit(
            name,
            &format!("{list} of record {} is no list", place + 1),
        )),
    }
}

fn unfit(name: &str, what: &str) -> Failure {
    Failure::new(
        Kind::Submission,
        format!("cannot load {name} by a mapping: {what}"),
    )
    .mend("[dialect] says where the records are: records and rowsOf, as JSON Pointers")
}

/// The columns of a sheet, as they are met.
#[derive(Default)]
struct Columns {
    names: Vec<String>,
    places: HashMap<String, usize>,
    lists: BTreeSet<String>,
    cells: usize,
}

impl Columns {
    /// Counts the cells of a row. What a document says of all its records is in the row of each, so that a small file
    /// can hold many.
    fn take_cells(&mut self, cells: usize, name: &str) -> Result<(), Failure> {
        self.cells += cells;
        let what = match (cells > ROW_CELLS_MAX, self.cells > CELLS_MAX) {
            (true, _) => format!("a record of more than {ROW_CELLS_MAX} values"),
            (_, true) => format!("more than {CELLS_MAX} cells"),
            _ => return Ok(()),
        };
        Err(refused(name, &what)
            .mend("split the file, or say where the rows are with records and rowsOf in [dialect]"))
    }

    /// Adds the cells of a value and of all that is in it, but for what is at `left_out`.
    fn add(
        &mut self,
        at: &str,
        value: &Value,
        left_out: Option<&str>,
        row: &mut Vec<(usize, Cell)>,
    ) {
        // A row that is too long is refused, and need not grow any longer.
        if left_out == Some(at) || row.len() > ROW_CELLS_MAX {
            return;
        }
        let cell = match value {
            Value::Null => return,
            Value::Object(members) => {
                for (name, value) in members {
                    self.add(&format!("{at}{}", pointer_step(name)), value, left_out, row);
                }
                return;
            }
            Value::Array(items) => {
                self.lists.insert(at.to_owned());
                for (place, value) in items.iter().enumerate() {
                    self.add(&format!("{at}/{place}"), value, left_out, row);
                }
                return;
            }
            // What every feature of points says holds no data.
            Value::String(text) if says_nothing(at, text) => return,
            Value::String(text) => Cell::Text(text.clone()),
            Value::Bool(truth) => Cell::Truth(*truth),
            Value::Number(number) => Cell::Number(number.as_f64().unwrap_or(f64::NAN)),
        };
        let next = self.names.len();
        let place = *self.places.entry(at.to_owned()).or_insert(next);
        if place == next {
            self.names.push(at.to_owned());
        }
        row.push((place, cell));
    }

    /// The sheet of some rows under these columns.
    fn sheet(self, rows: Vec<Vec<(usize, Cell)>>, name: &str) -> Result<Sheet, Failure> {
        let is_flat = self.names.iter().all(|name| name.matches('/').count() == 1);
        let mut allowance = Allowance::new(name, SHEET_BYTES_MAX);
        let mut grid = Grid::new("", &mut allowance);
        for (place, name) in self.names.iter().enumerate() {
            let header = name.strip_prefix('/').filter(|_| is_flat);
            let header = header.map_or_else(
                || name.clone(),
                |name| name.replace("~1", "/").replace("~0", "~"),
            );
            grid.place(0, place, Cell::Text(header))?;
        }
        for (number, row) in rows.into_iter().enumerate() {
            for (place, cell) in row {
                grid.place(number + 1, place, cell)?;
            }
        }
        Ok(Sheet {
            lists: Some(self.lists),
            ..grid.finish()
        })
    }
}

fn says_nothing(at: &str, text: &str) -> bool {
    matches!(
        (at, text),
        ("/type", "Feature") | ("/geometry/type", "Point") | ("document/type", "FeatureCollection")
    )
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn sheet(document: Value, at: JsonRows<'_>) -> Vec<Vec<String>> {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("export.json");
        std::fs::write(&path, document.to_string()).expect("written");
        let file = crate::read::formats::look_at(&path, "export.json").expect("a file");
        let file = SubmittedFile {
            form: Form::Json,
            ..file
        };
        let sheet = read_json_table(&file, at).expect("a sheet");
        let text = |cell: &Cell| match cell {
            Cell::Text(text) => text.clone(),
            Cell::Number(number) => number.to_string(),
            Cell::Empty => "-".to_owned(),
            other => format!("{other:?}"),
        };
        let rows = sheet.rows.iter();
        rows.map(|row| row.cells.iter().map(text).collect())
            .collect()
    }

    #[test]
    fn a_record_is_a_row_and_its_values_are_columns() {
        let document = json!([{"plot": "A", "geo": {"x": 1}, "eggs": [[0, 2], [3]]}, {"plot": "B", "a/b": true}]);
        let rows = sheet(document, JsonRows::default());
        assert_eq!(
            rows[0],
            [
                "/eggs/0/0",
                "/eggs/0/1",
                "/eggs/1/0",
                "/geo/x",
                "/plot",
                "/a~1b"
            ]
        );
        assert_eq!(rows[1], ["0", "2", "3", "1", "A"]);
        assert_eq!(rows[2], ["-", "-", "-", "-", "B", "Truth(true)"]);
    }

    #[test]
    fn the_items_of_a_list_may_be_rows() {
        let document = json!({"visits": [{"plot": "A", "heads": [{"n": 1}, {"n": 2}]}, {"plot": "B", "heads": []}]});
        let at = JsonRows {
            records: None,
            rows_of: Some("/heads"),
        };
        let rows = sheet(document, at);
        assert_eq!(
            rows,
            [
                vec!["/plot", "/heads/n"],
                vec!["A", "1"],
                vec!["A", "2"],
                vec!["B"]
            ]
        );
    }

    #[test]
    fn what_the_document_says_of_all_is_a_column_and_flat_records_have_plain_names() {
        let rows = sheet(
            json!({"unit": "ac", "rows": [{"Field/No": "A"}]}),
            JsonRows::default(),
        );
        assert_eq!(rows, [vec!["document/unit", "Field/No"], vec!["ac", "A"]]);
        let rows = sheet(json!([{"Field/No": "A", "Area": 3}]), JsonRows::default());
        assert_eq!(rows[0], ["Area", "Field/No"]);
    }

    #[test]
    fn what_is_next_to_the_list_of_a_mapping_is_not_lost() {
        let document =
            json!({"data": {"unit": "ac", "rows": [{"Field": "A"}]}, "day": "2026-07-20"});
        let at = JsonRows {
            records: Some("/data/rows"),
            rows_of: None,
        };
        let rows = sheet(document, at);
        assert_eq!(rows[1..], [["ac", "2026-07-20", "A"]]);
        let features = json!({"type": "FeatureCollection", "name": "layer", "unit": "ac", "features": [
            {"type": "Feature", "properties": {"plot": "A"}, "geometry": {"type": "Point", "coordinates": [1, 2]}}]});
        let rows = sheet(features, JsonRows::default());
        assert_eq!(rows[0][0], "document/unit");
        assert_eq!(rows[1].len(), 4);
    }

    #[test]
    fn a_small_file_that_would_make_many_cells_is_refused() {
        let columns = || Columns::default();
        assert!(columns().take_cells(ROW_CELLS_MAX, "a.json").is_ok());
        assert!(columns().take_cells(ROW_CELLS_MAX + 1, "a.json").is_err());
        let mut many = columns();
        let rows = CELLS_MAX / ROW_CELLS_MAX;
        assert!((0..rows).all(|_| many.take_cells(ROW_CELLS_MAX, "a.json").is_ok()));
        assert!(many.take_cells(1, "a.json").is_err());
    }
}
