//! What an XLS workbook lays out, judged from its records before its reader sees it.
//!
//! The reader makes a whole rectangle of each sheet's cells and copies a shared text into every cell that
//! names it. Records: Microsoft, [MS-XLS] Excel Binary File Format, section 2.4.

use crate::sheet::grid::{CELLS_MAX, MERGES_MAX, ROWS_MAX, WORKBOOK_BYTES_MAX, memory_of};
use crate::workbook::compound::{u16_at, u32_at};
use crate::workbook::markup::Refusal;

const BOF: u16 = 0x0809;
const EOF: u16 = 0x000a;
const FILE_PASS: u16 = 0x002f;
const BOUND_SHEET: u16 = 0x0085;
const SST: u16 = 0x00fc;
const CONTINUE: u16 = 0x003c;
const DIMENSIONS: u16 = 0x0200;
const FORMULA: u16 = 0x0006;
const STRING: u16 = 0x0207;
const LABEL: u16 = 0x0204;
const RICH_LABEL: u16 = 0x00d6;
const LABEL_SST: u16 = 0x00fd;
const MULTIPLE_RK: u16 = 0x00bd;
const MERGED_CELLS: u16 = 0x00e5;
const NUMBER: u16 = 0x0203;
const RK: u16 = 0x027e;
const TRUTH_OR_ERROR: u16 = 0x0205;
/// The reader spells formulas out, some fifty times longer than they are.
const FORMULA_BYTES_MAX: usize = 4 << 20;
/// Columns of the widest sheet that the format knows.
const COLUMNS_MAX: u64 = 256;

/// Refuses a workbook's stream that lays out more than is read.
///
/// # Errors
/// With what it holds.
pub(crate) fn check(stream: &[u8]) -> Result<(), Refusal> {
    let mut limits = Limits::default();
    let mut sheets = Vec::new();
    for record in records(stream, 0) {
        let record = record?;
        match record.kind {
            FILE_PASS if u16_at(record.bytes, 0) != 0 => return Err(Refusal::Password),
            BOUND_SHEET => sheets.push(u32_at(record.bytes, 0) as usize),
            SST => limits.texts = shared_texts(stream, record.at)?,
            EOF => break,
            _ => {}
        }
    }
    // Sheets are one behind the other, so together they are no longer than the stream.
    let mut bytes_left = stream.len();
    for start in sheets {
        limits.sheet(stream, start, &mut bytes_left)?;
    }
    Ok(())
}

struct Record<'a> {
    kind: u16,
    at: usize,
    bytes: &'a [u8],
}

/// The records of a stream from a place on.
fn records(stream: &[u8], start: usize) -> impl Iterator<Item = Result<Record<'_>, Refusal>> {
    let mut at = start;
    std::iter::from_fn(move || {
        if at >= stream.len() {
            return None;
        }
        let bytes = usize::from(u16_at(stream, at + 2));
        let content = stream.get(at + 4..at + 4 + bytes);
        let record = content.map(|bytes| Record {
            kind: u16_at(stream, at),
            at,
            bytes,
        });
        at = match record {
            Some(_) => at + 4 + bytes,
            None => stream.len(),
        };
        Some(record.ok_or_else(|| Refusal::holds("records that break off")))
    })
}

#[derive(Default)]
struct Limits {
    /// Characters of each shared text.
    texts: Vec<usize>,
    cells: usize,
    rows: usize,
    text_bytes: usize,
    formula_bytes: usize,
    merges: usize,
}

/// The rows and columns from the first of the sheet to the last that is filled.
#[derive(Default)]
struct Extent {
    rows: usize,
    columns: usize,
}

impl Extent {
    fn add(&mut self, row: u16, column: u16) {
        self.rows = self.rows.max(usize::from(row) + 1);
        self.columns = self.columns.max(usize::from(column) + 1);
    }

    fn cells(&self) -> usize {
        self.rows * self.columns
    }
}

impl Limits {
    fn sheet(
        &mut self,
        stream: &[u8],
        start: usize,
        bytes_left: &mut usize,
    ) -> Result<(), Refusal> {
        let (mut cells, mut formulas) = (Extent::default(), Extent::default());
        let mut depth = 0_usize;
        for record in records(stream, start) {
            let record = record?;
            *bytes_left = bytes_left
                .checked_sub(record.bytes.len() + 4)
                .ok_or_else(|| Refusal::holds("two sheets that are the same records"))?;
            match record.kind {
                BOF => depth += 1,
                EOF if depth <= 1 => break,
                EOF => depth -= 1,
                // A chart within the sheet has records that look like cells.
                _ if depth > 1 => {}
                kind => self.record(kind, record.bytes, &mut cells, &mut formulas)?,
            }
        }
        add(&mut self.rows, cells.rows, ROWS_MAX, "rows")?;
        let laid_out = cells.cells().max(formulas.cells());
        add(&mut self.cells, laid_out, CELLS_MAX, "cells")?;
        let memory = memory_of(self.rows, self.cells, self.text_bytes);
        add(&mut 0, memory, WORKBOOK_BYTES_MAX, "bytes in its cells")
    }

    fn record(
        &mut self,
        kind: u16,
        bytes: &[u8],
        cells: &mut Extent,
        formulas: &mut Extent,
    ) -> Result<(), Refusal> {
        let (row, column) = (u16_at(bytes, 0), u16_at(bytes, 2));
        match kind {
            DIMENSIONS => return believable_dimensions(bytes),
            MERGED_CELLS => {
                let merges = usize::from(row);
                if bytes.len() < 2 + 8 * merges {
                    return Err(Refusal::holds("records that break off"));
                }
                return add(&mut self.merges, merges, MERGES_MAX, "merged ranges");
            }
            STRING => return believable_text(bytes, 0),
            MULTIPLE_RK => {
                let last = u16_at(bytes, bytes.len().saturating_sub(2));
                if last < column {
                    return Err(Refusal::holds("a row that ends before it begins"));
                }
                cells.add(row, last);
            }
            FORMULA => {
                let what = "bytes of formulas";
                add(
                    &mut self.formula_bytes,
                    bytes.len(),
                    FORMULA_BYTES_MAX,
                    what,
                )?;
                formulas.add(row, column);
            }
            LABEL | RICH_LABEL => believable_text(bytes, 6)?,
            LABEL_SST => {
                let text = self.texts.get(u32_at(bytes, 6) as usize);
                // A character takes up to three bytes in UTF-8.
                let text_bytes = 3 * text.copied().unwrap_or_default();
                let what = "bytes in its cells";
                add(&mut self.text_bytes, text_bytes, WORKBOOK_BYTES_MAX, what)?;
            }
            NUMBER | RK | TRUTH_OR_ERROR => {}
            _ => return Ok(()),
        }
        cells.add(row, column);
        Ok(())
    }
}

/// The reader makes room for the rectangle that a sheet claims.
fn believable_dimensions(bytes: &[u8]) -> Result<(), Refusal> {
    let long = bytes.len() >= 14;
    let row = |at: usize| match long {
        true => u64::from(u32_at(bytes, 4 * at)),
        false => u64::from(u16_at(bytes, 2 * at)),
    };
    let column = |at: usize| u64::from(u16_at(bytes, if long { 8 } else { 4 } + 2 * at));
    let (first, end) = (row(0), row(1));
    if end > 1 << 16 || (end > 0 && first > end - 1) || column(1) > COLUMNS_MAX {
        return Err(Refusal::holds(
            "a sheet that claims a size that none can have",
        ));
    }
    Ok(())
}

/// The reader makes room for as many characters as a text claims.
fn believable_text(bytes: &[u8], at: usize) -> Result<(), Refusal> {
    if usize::from(u16_at(bytes, at)) > bytes.len() {
        return Err(Refusal::holds("a text shorter than it claims"));
    }
    Ok(())
}

fn add(counter: &mut usize, more: usize, limit: usize, what: &str) -> Result<(), Refusal> {
    *counter = counter.saturating_add(more);
    if *counter > limit {
        return Err(Refusal::holds(format!("more than {limit} {what}")));
    }
    Ok(())
}

/// The characters of each shared text; the table goes on in the records that continue it.
fn shared_texts(stream: &[u8], at: usize) -> Result<Vec<usize>, Refusal> {
    let mut pieces: Vec<&[u8]> = Vec::new();
    for (place, record) in records(stream, at).enumerate() {
        let record = record?;
        if place > 0 && record.kind != CONTINUE {
            break;
        }
        pieces.push(record.bytes);
    }
    let mut table = Pieces {
        piece: pieces.remove(0).get(8..).unwrap_or_default(),
        rest: pieces.into_iter(),
    };
    let mut texts = Vec::new();
    while table.go_on() {
        let characters = usize::from(u16_at(table.piece, 0));
        let flags = table.piece.get(2).copied().unwrap_or_default();
        let mut head = 3;
        let mut after = 0;
        if flags & 8 != 0 {
            after += 4 * usize::from(u16_at(table.piece, head));
            head += 2;
        }
        if flags & 4 != 0 {
            after += u32_at(table.piece, head) as usize;
            head += 4;
        }
        table.skip(head.min(table.piece.len()));
        table.skip_characters(characters, flags & 1 != 0);
        table.skip(after);
        texts.push(characters);
        if texts.len() > CELLS_MAX {
            return Err(Refusal::holds(format!("more than {CELLS_MAX} texts")));
        }
    }
    Ok(texts)
}

/// Bytes that go on in the next piece.
struct Pieces<'a> {
    piece: &'a [u8],
    rest: std::vec::IntoIter<&'a [u8]>,
}

impl Pieces<'_> {
    /// Whether there is more.
    fn go_on(&mut self) -> bool {
        while self.piece.is_empty() {
            match self.rest.next() {
                Some(piece) => self.piece = piece,
                None => return false,
            }
        }
        true
    }

    fn skip(&mut self, mut bytes: usize) {
        while bytes > 0 && self.go_on() {
            let here = bytes.min(self.piece.len());
            self.piece = &self.piece[here..];
            bytes -= here;
        }
    }

    /// Characters are one byte or two; each piece says it anew.
    fn skip_characters(&mut self, mut characters: usize, mut wide: bool) {
        loop {
            let width = 1 + usize::from(wide);
            let here = characters.min(self.piece.len() / width);
            self.piece = &self.piece[here * width..];
            characters -= here;
            if characters == 0 {
                return;
            }
            self.piece = &[];
            if !self.go_on() {
                return;
            }
            wide = self.piece[0] & 1 != 0;
            self.piece = &self.piece[1..];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(kind: u16, bytes: &[u8]) -> Vec<u8> {
        let length = u16::try_from(bytes.len()).unwrap();
        [&kind.to_le_bytes(), &length.to_le_bytes(), bytes].concat()
    }

    fn at(row: u16, column: u16, rest: &[u8]) -> Vec<u8> {
        [&row.to_le_bytes(), &column.to_le_bytes(), rest].concat()
    }

    /// A stream of one sheet with these records, and these before it.
    fn stream(globals: &[Vec<u8>], sheet: &[Vec<u8>]) -> Vec<u8> {
        let before = globals.concat();
        let start = 4 + (4 + 8) + before.len() + 4;
        let bound = at(start as u16, 0, &[0; 4]);
        [
            record(BOF, &[]),
            record(BOUND_SHEET, &bound),
            before,
            record(EOF, &[]),
            record(BOF, &[]),
            sheet.concat(),
            record(EOF, &[]),
        ]
        .concat()
    }

    fn refusal(globals: &[Vec<u8>], sheet: &[Vec<u8>]) -> String {
        format!("{:?}", check(&stream(globals, sheet)).unwrap_err())
    }

    #[test]
    fn a_sheet_is_as_large_as_the_rectangle_of_its_cells() {
        let number = |row, column| record(NUMBER, &at(row, column, &[0; 10]));
        assert!(check(&stream(&[], &[number(0, 0), number(999, 99)])).is_ok());
        let far = refusal(&[], &[number(0, 0), number(65_535, 255)]);
        assert!(far.contains("2000000 cells"), "{far}");
        let dimensions = record(DIMENSIONS, &[0xff; 14]);
        assert!(refusal(&[], &[dimensions]).contains("claims a size"));
        let merged = record(MERGED_CELLS, &at(u16::MAX, 0, &[]));
        assert!(refusal(&[], &[merged]).contains("break off"));
    }

    #[test]
    fn a_shared_text_counts_in_every_cell_that_names_it() {
        let mut text = [
            &[1, 0, 0, 0, 1, 0, 0, 0][..],
            &8_000_u16.to_le_bytes(),
            &[0],
        ]
        .concat();
        text.extend([b'x'; 4_000]);
        // The second half is continued with two bytes a character.
        let continued = [vec![1], vec![b'y'; 8_000]].concat();
        let texts = [record(SST, &text), record(CONTINUE, &continued)];
        assert_eq!(shared_texts(&texts.concat(), 0).unwrap(), [8_000]);
        let named: Vec<_> = (0..3_000)
            .map(|row| record(LABEL_SST, &at(row, 0, &[0; 6])))
            .collect();
        assert!(check(&stream(&texts, &named[..100])).is_ok());
        let refused = refusal(&texts, &named);
        assert!(refused.contains("bytes in its cells"), "{refused}");
    }

    #[test]
    fn two_sheets_cannot_be_the_same_records() {
        let mut twice = stream(&[], &vec![record(NUMBER, &at(0, 0, &[0; 10])); 50]);
        let bound = twice[4..16].to_vec();
        let start = u16_at(&bound, 4) + 12;
        twice.splice(4..4, bound);
        for place in [8, 20] {
            twice[place..place + 2].copy_from_slice(&start.to_le_bytes());
        }
        let refused = format!("{:?}", check(&twice).unwrap_err());
        assert!(refused.contains("same records"), "{refused}");
    }

    #[test]
    fn a_password_is_said_to_be_one() {
        let sealed = refusal(&[record(FILE_PASS, &[1, 0])], &[]);
        assert_eq!(sealed, "Password");
    }
}
