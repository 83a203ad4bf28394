//! The rows of a sheet as they are laid out, within what one submission may hold.
//!
//! It knows no file format. A cell far from the others costs the rows and cells before it, so the
//! limits count what is laid out, not what is written down. They are our own: a season of a
//! region's scouts fits many times over.

use scouting::failure::{Failure, Kind};

use crate::sheet::table::{Cell, Row, Sheet};

/// Rows of a submission, all sheets together.
pub(crate) const ROWS_MAX: usize = 1_000_000;
/// Cells of a submission, all sheets together, the empty ones before a filled one included.
pub(crate) const CELLS_MAX: usize = 2_000_000;
/// Cells of one row.
pub(crate) const ROW_CELLS_MAX: usize = 2_000;
/// Length of the text of one cell, bytes.
pub(crate) const CELL_BYTES_MAX: usize = 1 << 20;
/// Merged ranges of a workbook.
pub(crate) const MERGES_MAX: usize = 10_000;
/// Memory that the sheets of a workbook may take: one long text can be named by any number of cells.
pub(crate) const WORKBOOK_BYTES_MAX: usize = 44 << 20;

/// What a submission may still lay out.
pub(crate) struct Allowance {
    name: String,
    rows: usize,
    cells: usize,
    bytes: usize,
}

/// Memory that rows, cells and the bytes of their texts take.
pub(crate) fn memory_of(rows: usize, cells: usize, text_bytes: usize) -> usize {
    rows.saturating_mul(size_of::<Row>())
        .saturating_add(cells.saturating_mul(size_of::<Cell>()))
        .saturating_add(text_bytes)
}

impl Allowance {
    /// The allowance of a submission of this name, with so much memory.
    pub(crate) fn new(name: &str, bytes: usize) -> Allowance {
        Allowance {
            name: name.to_owned(),
            rows: ROWS_MAX,
            cells: CELLS_MAX,
            bytes,
        }
    }

    fn take_bytes(&mut self, bytes: usize, place: &str) -> Result<(), Failure> {
        match self.bytes.checked_sub(bytes) {
            Some(rest) => self.bytes = rest,
            None => return Err(self.too_much("more than is read of one file", place)),
        }
        Ok(())
    }

    fn take_rows(&mut self, rows: usize, place: &str) -> Result<(), Failure> {
        match self.rows.checked_sub(rows) {
            Some(rest) => self.rows = rest,
            None => return Err(self.too_much(&format!("more than {ROWS_MAX} rows"), place)),
        }
        self.take_bytes(memory_of(rows, 0, 0), place)
    }

    fn take_cells(&mut self, cells: usize, place: &str) -> Result<(), Failure> {
        match self.cells.checked_sub(cells) {
            Some(rest) => self.cells = rest,
            None => return Err(self.too_much(&format!("more than {CELLS_MAX} cells"), place)),
        }
        self.take_bytes(memory_of(0, cells, 0), place)
    }

    fn take_text(&mut self, bytes: usize, place: &str) -> Result<(), Failure> {
        if bytes > CELL_BYTES_MAX {
            return Err(self.too_much(
                &format!("a cell with {bytes} bytes, more than {CELL_BYTES_MAX}"),
                place,
            ));
        }
        self.take_bytes(bytes, place)
    }

    fn too_much(&self, what: &str, place: &str) -> Failure {
        refused(&self.name, what)
            .at(place.to_owned())
            .mend("delete what is not needed (look for a stray value far from the table), or split the file")
    }
}

/// A submission that holds what no submission may.
pub(crate) fn refused(name: &str, what: &str) -> Failure {
    Failure::new(
        Kind::Submission,
        format!("cannot load {name}: it holds {what}"),
    )
}

/// A sheet being laid out. Rows and columns count from 0 here.
pub(crate) struct Grid<'a> {
    sheet: Sheet,
    allowance: &'a mut Allowance,
}

impl<'a> Grid<'a> {
    /// An empty sheet of this name.
    pub(crate) fn new(name: &str, allowance: &'a mut Allowance) -> Grid<'a> {
        Grid {
            sheet: Sheet::named(name),
            allowance,
        }
    }

    /// Puts a cell in its place. An empty one takes none.
    ///
    /// # Errors
    /// If the sheet would grow beyond what is allowed.
    pub(crate) fn place(&mut self, row: usize, column: usize, cell: Cell) -> Result<(), Failure> {
        if cell == Cell::Empty {
            return Ok(());
        }
        let place = || place_name(&self.sheet.name, row, column);
        if column >= ROW_CELLS_MAX {
            let what = format!("a row with more than {ROW_CELLS_MAX} cells");
            return Err(self.allowance.too_much(&what, &place()));
        }
        let missing_rows = (row + 1).saturating_sub(self.sheet.rows.len());
        if missing_rows > 0 {
            self.allowance.take_rows(missing_rows, &place())?;
            let next = self.sheet.rows.len() as u64 + 1;
            self.sheet
                .rows
                .extend((next..).take(missing_rows).map(|number| Row {
                    number,
                    cells: Vec::new(),
                }));
        }
        if let Cell::Text(text) | Cell::Broken(text) = &cell {
            self.allowance.take_text(text.len(), &place())?;
        }
        let cells = &mut self.sheet.rows[row].cells;
        let missing_cells = (column + 1).saturating_sub(cells.len());
        if missing_cells > 0 {
            self.allowance.take_cells(missing_cells, &place())?;
            cells.resize(column + 1, Cell::Empty);
        }
        cells[column] = cell;
        Ok(())
    }

    /// Adds a row of a text file: its first line's number and its cells.
    ///
    /// # Errors
    /// If the table would grow beyond what is allowed.
    pub(crate) fn push(&mut self, number: u64, mut cells: Vec<Cell>) -> Result<(), Failure> {
        let place = format!("line {number}");
        let filled = cells.iter().rposition(|cell| *cell != Cell::Empty);
        cells.truncate(filled.map_or(0, |last| last + 1));
        cells.shrink_to_fit();
        if cells.len() > ROW_CELLS_MAX {
            let what = format!("a row with more than {ROW_CELLS_MAX} cells");
            return Err(self.allowance.too_much(&what, &place));
        }
        self.allowance.take_rows(1, &place)?;
        self.allowance.take_cells(cells.len(), &place)?;
        for cell in &cells {
            if let Cell::Text(text) = cell {
                self.allowance.take_text(text.len(), &place)?;
            }
        }
        self.sheet.rows.push(Row { number, cells });
        Ok(())
    }

    /// Changes what is in a place, if anything is; `change` may keep the cell in a box.
    ///
    /// # Errors
    /// If the boxes take more memory than is allowed.
    pub(crate) fn change(
        &mut self,
        (row, column): (usize, usize),
        change: impl FnOnce(Cell) -> Cell,
    ) -> Result<(), Failure> {
        let cells = self.sheet.rows.get_mut(row).map(|row| &mut row.cells);
        match cells.and_then(|cells| cells.get_mut(column)) {
            Some(cell) if *cell != Cell::Empty => {
                *cell = change(std::mem::replace(cell, Cell::Empty));
                let place = place_name(&self.sheet.name, row, column);
                self.allowance.take_bytes(size_of::<Cell>(), &place)
            }
            _ => Ok(()),
        }
    }

    /// Changes what is in ranges of cells; corners as (row, column), both within.
    ///
    /// # Errors
    /// If the boxes take more memory than is allowed.
    pub(crate) fn change_ranges(
        &mut self,
        ranges: &[[(usize, usize); 2]],
        change: fn(Cell) -> Cell,
    ) -> Result<(), Failure> {
        for &[first, last] in ranges {
            for row in first.0..(last.0 + 1).min(self.sheet.rows.len()) {
                let end = (last.1 + 1).min(self.sheet.rows[row].cells.len());
                for column in first.1..end {
                    self.change((row, column), change)?;
                }
            }
        }
        Ok(())
    }

    /// Empties ranges of cells; corners as (row, column), both within.
    pub(crate) fn clear(&mut self, ranges: &[[(usize, usize); 2]]) {
        for &[first, last] in ranges {
            let rows = self.sheet.rows.iter_mut();
            for row in rows.take(last.0 + 1).skip(first.0) {
                let end = (last.1 + 1).min(row.cells.len());
                row.cells[first.1.min(end)..end].fill(Cell::Empty);
            }
        }
    }

    /// The row that was added last, as `line 7`.
    pub(crate) fn last_place(&self) -> String {
        let number = self.sheet.rows.last().map_or(1, |row| row.number);
        format!("line {number}")
    }

    /// Empties what merged ranges cover, all but the first cell of each; corners as (row, column).
    ///
    /// # Errors
    /// If the ranges overlap so much that no spreadsheet program can have made them.
    pub(crate) fn cover(&mut self, merges: &[[(u32, u32); 2]]) -> Result<(), Failure> {
        // Ranges that do not overlap cover no cell twice.
        let mut steps = 2 * CELLS_MAX;
        for &[first, last] in merges {
            let rows = first.0 as usize..(last.0 as usize + 1).min(self.sheet.rows.len());
            for row in rows {
                let cells = &mut self.sheet.rows[row].cells;
                let end = (last.1 as usize + 1).min(cells.len());
                let start = (first.1 as usize + usize::from(row == first.0 as usize)).min(end);
                cells[start..end].fill(Cell::Empty);
                steps = steps.checked_sub(end - start + 1).ok_or_else(|| {
                    let what = "merged ranges that cover each other";
                    self.allowance
                        .too_much(what, &format!("sheet \"{}\"", self.sheet.name))
                })?;
            }
        }
        Ok(())
    }

    /// The sheet, without empty cells at the ends of its rows and empty rows at its end.
    pub(crate) fn finish(mut self) -> Sheet {
        for row in &mut self.sheet.rows {
            let filled = row.cells.iter().rposition(|cell| *cell != Cell::Empty);
            row.cells.truncate(filled.map_or(0, |last| last + 1));
        }
        let filled = self
            .sheet
            .rows
            .iter()
            .rposition(|row| !row.cells.is_empty());
        self.sheet.rows.truncate(filled.map_or(0, |last| last + 1));
        self.sheet
    }
}

/// `sheet "Visits", cell C7`; rows and columns count from 0.
fn place_name(sheet: &str, row: usize, column: usize) -> String {
    format!("sheet \"{sheet}\", cell {}{}", letters(column), row + 1)
}

/// The letters of a column, from 0: A, B, … Z, AA.
pub(crate) fn letters(mut column: usize) -> String {
    let mut reversed = Vec::new();
    loop {
        reversed.push(b'A' + (column % 26) as u8);
        if column < 26 {
            break;
        }
        column = column / 26 - 1;
    }
    reversed
        .iter()
        .rev()
        .map(|&letter| letter as char)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn allowance() -> Allowance {
        Allowance::new("file", WORKBOOK_BYTES_MAX)
    }

    #[test]
    fn cells_are_where_they_were_put_in_any_order() {
        let mut allowance = allowance();
        let mut grid = Grid::new("Visits", &mut allowance);
        grid.place(2, 1, Cell::Number(3.0)).unwrap();
        grid.place(0, 0, Cell::Text("Field".into())).unwrap();
        grid.place(7, 7, Cell::Empty).unwrap();
        let sheet = grid.finish();
        let rows: Vec<_> = sheet
            .rows
            .iter()
            .map(|row| (row.number, &row.cells[..]))
            .collect();
        assert_eq!(
            rows,
            [
                (1, &[Cell::Text("Field".into())][..]),
                (2, &[][..]),
                (3, &[Cell::Empty, Cell::Number(3.0)][..])
            ]
        );
    }

    #[test]
    fn what_is_laid_out_is_counted_and_not_what_is_written_down() {
        let mut allowance = allowance();
        let mut grid = Grid::new("Visits", &mut allowance);
        let far_down = grid.place(1_048_575, 0, Cell::Number(1.0)).unwrap_err();
        assert!(far_down.to_string().contains("1000000 rows"), "{far_down}");
        assert!(far_down.to_string().contains("cell A1048576"), "{far_down}");
        let far_right = grid.place(0, 16_383, Cell::Number(1.0)).unwrap_err();
        assert!(far_right.to_string().contains("cell XFD1"), "{far_right}");
        let scattered = (0..=2_000).try_for_each(|row| grid.place(row, 1_999, Cell::Truth(true)));
        let scattered = scattered.unwrap_err().to_string();
        assert!(scattered.contains("more than is read"), "{scattered}");
    }

    #[test]
    fn a_merged_range_keeps_its_first_cell_and_ranges_over_each_other_are_refused() {
        let mut allowance = allowance();
        let mut grid = Grid::new("Visits", &mut allowance);
        for place in 0..9 {
            grid.place(place / 3, place % 3, Cell::Number(place as f64))
                .unwrap();
        }
        grid.cover(&[[(0, 0), (1, 1)]]).unwrap();
        let sheet = grid.finish();
        assert_eq!(
            sheet.rows[0].cells,
            [Cell::Number(0.0), Cell::Empty, Cell::Number(2.0)]
        );
        assert_eq!(
            sheet.rows[1].cells,
            [Cell::Empty, Cell::Empty, Cell::Number(5.0)]
        );

        let mut grid = Grid::new("Visits", &mut allowance);
        grid.place(9_999, 0, Cell::Number(1.0)).unwrap();
        let over = vec![[(0, 0), (1_048_575, 16_383)]; MERGES_MAX];
        assert!(
            grid.cover(&over)
                .unwrap_err()
                .to_string()
                .contains("merged ranges")
        );
    }

    #[test]
    fn columns_have_the_letters_of_spreadsheets() {
        let letters: Vec<_> = [0, 25, 26, 701, 702, 16_383].map(letters).into();
        assert_eq!(letters, ["A", "Z", "AA", "ZZ", "AAA", "XFD"]);
    }
}
