//! What the look of a cell says of its value: shown as a percentage, or struck through.
//!
//! Other looks, such as colors, are not read: what they mean is known to their author alone.

use std::fs::File;
use std::io::BufReader;

use calamine::{Style, Xlsx, XlsxError};

use crate::sheet::grid::Grid;
use crate::sheet::table::Cell;
use scouting::failure::Failure;

/// A look that changes what a value means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Look {
    /// Shown as a percentage.
    pub percent: bool,
    /// Struck through.
    pub struck: bool,
}

impl Look {
    fn of(style: &Style) -> Look {
        let format = style.number_format.as_ref();
        let font = style.font.as_ref();
        Look {
            percent: format.is_some_and(|format| shows_percent(&format.format_code)),
            struck: font.is_some_and(|font| font.strikethrough),
        }
    }

    fn is_plain(self) -> bool {
        !self.percent && !self.struck
    }

    fn put_on(self, cell: Cell) -> Cell {
        let cell = if self.percent { as_percent(cell) } else { cell };
        if self.struck { struck(cell) } else { cell }
    }
}

/// The cell as one that is shown as a percentage; only a number is.
pub(super) fn as_percent(cell: Cell) -> Cell {
    match cell {
        Cell::Number(number) => Cell::Percent(number),
        cell => cell,
    }
}

/// The cell struck through, once.
pub(super) fn struck(cell: Cell) -> Cell {
    match cell {
        Cell::Struck(_) => cell,
        cell => Cell::Struck(Box::new(cell)),
    }
}

/// Puts their looks on the cells of a sheet. The sheet is read once more for that, and only where a style of the workbook
/// says something.
pub(super) fn put_looks(
    workbook: &mut Xlsx<BufReader<File>>,
    sheet_name: &str,
    grid: &mut Grid,
) -> Result<Result<(), Failure>, XlsxError> {
    let mut cells = workbook.worksheet_cells_reader(sheet_name)?;
    let looks: Vec<Look> = cells.styles().iter().map(Look::of).collect();
    if looks.iter().all(|look| look.is_plain()) {
        return Ok(Ok(()));
    }
    while let Some((row, column, style)) = cells.next_style_id()? {
        let look = looks.get(style).filter(|look| !look.is_plain());
        let Some(look) = look else { continue };
        let place = (row as usize, column as usize);
        if let Err(failure) = grid.change(place, |cell| look.put_on(cell)) {
            return Ok(Err(failure));
        }
    }
    Ok(Ok(()))
}

/// Whether a number format shows a percentage: `%` that is neither quoted nor a letter of its own.
fn shows_percent(code: &str) -> bool {
    let (mut quoted, mut escaped) = (false, false);
    code.chars().any(|letter| {
        let was_escaped = std::mem::take(&mut escaped);
        match letter {
            _ if was_escaped => false,
            '"' => {
                quoted = !quoted;
                false
            }
            '\\' if !quoted => {
                escaped = true;
                false
            }
            '%' => !quoted,
            _ => false,
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_percent_sign_of_a_format_is_told_from_one_that_is_printed() {
        for (code, wanted) in [
            ("0%", true),
            ("0.00%;[Red]-0.00%", true),
            ("0.0\\ %", true),
            ("0\\%", false),
            ("0\" %\"", false),
            ("General", false),
            ("$#,##0.00", false),
        ] {
            assert_eq!(shows_percent(code), wanted, "{code}");
        }
    }
}
