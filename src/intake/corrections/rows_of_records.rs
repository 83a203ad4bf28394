//! Which rows of a returned sheet belong to one held record: those that bear its id, in whatever order they come.
//!
//! Where ids were lost, a row that names a visit begins a record, and the rows below it that name none belong to it.

use std::collections::HashMap;

use crate::corrections::sent_out::text_of;
use crate::sheet::table::Row;

/// The rows of one held record.
pub(crate) struct RowsOfRecord<'a> {
    /// What is in the column of the ids; empty where it was lost.
    pub(crate) id: String,
    pub(crate) rows: Vec<&'a Row>,
}

/// The rows record by record, in the order of the first of each. `names_visit` says whether a row names its visit.
pub(crate) fn rows_of_records<'a>(
    rows: &'a [Row],
    id_column: Option<usize>,
    names_visit: impl Fn(&Row) -> bool,
) -> Vec<RowsOfRecord<'a>> {
    let mut records: Vec<RowsOfRecord<'a>> = Vec::new();
    let mut places: HashMap<String, usize> = HashMap::new();
    let mut above = None;
    for row in rows {
        if row.cells.iter().all(|cell| text_of(cell).trim().is_empty()) {
            continue;
        }
        let id = id_column.and_then(|at| row.cells.get(at)).map(text_of);
        let id = id.unwrap_or_default().trim().to_owned();
        let known = match id.as_str() {
            "" if names_visit(row) => None,
            "" => above,
            id => places.get(id).copied(),
        };
        let place = known.unwrap_or_else(|| {
            if !id.is_empty() {
                places.insert(id.clone(), records.len());
            }
            records.push(RowsOfRecord {
                id,
                rows: Vec::new(),
            });
            records.len() - 1
        });
        records[place].rows.push(row);
        above = Some(place);
    }
    joined(records, names_visit)
}

/// A first row that has lost its id belongs to the rows below it, if none of those names a visit.
fn joined(
    records: Vec<RowsOfRecord<'_>>,
    names_visit: impl Fn(&Row) -> bool,
) -> Vec<RowsOfRecord<'_>> {
    let mut joined: Vec<RowsOfRecord<'_>> = Vec::new();
    for record in records {
        let names_none = !record.rows.iter().any(|row| names_visit(row));
        match joined.last_mut() {
            Some(before) if before.id.is_empty() && names_none && !record.id.is_empty() => {
                before.id = record.id;
                before.rows.extend(record.rows);
            }
            _ => joined.push(record),
        }
    }
    joined
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::table::Cell;

    /// The ids and row numbers of records; a row is its id and whether it names a visit.
    fn parts(rows: &[(&str, bool)]) -> Vec<(String, Vec<u64>)> {
        let row = |(number, (id, names)): (u64, &(&str, bool))| Row {
            number,
            cells: vec![
                Cell::Text((*id).to_owned()),
                Cell::Text(if *names { "v" } else { "." }.to_owned()),
            ],
        };
        let rows: Vec<Row> = (1..).zip(rows).map(row).collect();
        let names_visit = |row: &Row| row.cells[1] == Cell::Text("v".to_owned());
        let records = rows_of_records(&rows, Some(0), names_visit);
        let numbers = |record: RowsOfRecord<'_>| {
            let rows = record.rows.iter().map(|row| row.number);
            (record.id.clone(), rows.collect())
        };
        records.into_iter().map(numbers).collect()
    }

    #[test]
    fn rows_without_an_id_belong_to_the_visit_above_and_a_first_row_to_those_below() {
        let of = |id: &str, rows: &[u64]| (id.to_owned(), rows.to_vec());
        assert_eq!(
            parts(&[("a", true), ("b", true), ("a", false), ("", false)]),
            [of("a", &[1, 3, 4]), of("b", &[2])]
        );
        assert_eq!(
            parts(&[("", true), ("", false), ("", true), ("", false)]),
            [of("", &[1, 2]), of("", &[3, 4])]
        );
        assert_eq!(
            parts(&[("a", true), ("a", false), ("", true), ("b", false)]),
            [of("a", &[1, 2]), of("b", &[3, 4])]
        );
    }
}
