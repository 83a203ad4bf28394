//! A sheet whose visits are columns and whose members are rows → one whose visits are rows.

use crate::sheet::table::{Cell, Row, Sheet};

/// A sheet with rows and columns exchanged, and where its cells were.
pub(in crate::mapping) struct Turned {
    pub sheet: Sheet,
    /// The numbers of the rows as sent, which are columns now.
    numbers: Vec<u64>,
}

impl Turned {
    /// Exchanges the rows and columns of a sheet.
    pub(in crate::mapping) fn of(sheet: &Sheet) -> Turned {
        let width = sheet.rows.iter().map(|row| row.cells.len()).max();
        let rows = (0..width.unwrap_or(0)).map(|place| Row {
            number: place as u64 + 1,
            cells: column(sheet, place),
        });
        Turned {
            sheet: Sheet {
                rows: rows.collect(),
                ..Sheet::named(&sheet.name)
            },
            numbers: sheet.rows.iter().map(|row| row.number).collect(),
        }
    }

    /// Column and row of a cell before the exchange.
    pub(in crate::mapping) fn as_sent(&self, column: usize, row: u64) -> (usize, u64) {
        let number = self.numbers.get(column).copied();
        (row as usize - 1, number.unwrap_or(column as u64 + 1))
    }
}

fn column(sheet: &Sheet, place: usize) -> Vec<Cell> {
    let cells = sheet.rows.iter().map(|row| row.cells.get(place));
    let mut cells: Vec<Cell> = cells
        .map(|cell| cell.cloned().unwrap_or(Cell::Empty))
        .collect();
    while cells.last() == Some(&Cell::Empty) {
        cells.pop();
    }
    cells
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_turned_sheet_knows_where_its_cells_were() {
        let text = |text: &str| Cell::Text(text.to_owned());
        let rows = vec![
            Row {
                number: 1,
                cells: vec![text("Field"), text("F-1"), text("F-2")],
            },
            // A text file's row may span lines.
            Row {
                number: 4,
                cells: vec![text("Area"), Cell::Number(3.0)],
            },
        ];
        let sheet = Sheet {
            rows,
            ..Sheet::named("Visits")
        };
        let turned = Turned::of(&sheet);
        let cells: Vec<&[Cell]> = turned.sheet.rows.iter().map(|row| &row.cells[..]).collect();
        assert_eq!(
            cells,
            [
                &[text("Field"), text("Area")][..],
                &[text("F-1"), Cell::Number(3.0)],
                &[text("F-2")]
            ]
        );
        assert_eq!(turned.as_sent(1, 2), (1, 4));
    }
}
