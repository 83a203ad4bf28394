//! What an OpenDocument sheet lays out, judged from its tags before its reader sees it.
//!
//! A short tag can repeat a cell 16,384 times and its row a million times, and the reader lays all of it
//! out. Here it is only counted, in the way that the reader counts.

use std::collections::HashSet;

use crate::sheet::grid::{
    CELLS_MAX, MERGES_MAX, ROW_CELLS_MAX, ROWS_MAX, WORKBOOK_BYTES_MAX, memory_of,
};
use crate::workbook::markup::{Refusal, Tag, Watch};
use crate::workbook::package::PartWatch;

/// The reader cuts repetitions of columns there.
const COLUMNS_READ_MAX: usize = 16_384;

/// Cells from the first corner to the last, as (row, column) from 0, both within.
pub(crate) type Corners = [(usize, usize); 2];

/// Filled cells that a merged range covers (programs keep what nobody sees), and those with a look that counts.
const TOLD_MAX: usize = 100_000;
/// Styles that strike text through.
const STRIKING_MAX: usize = 10_000;

/// Cells of a sheet that its reader does not tell from others.
#[derive(Default)]
pub(crate) struct SheetCells {
    /// Filled cells that a merged range covers: the reader takes them for visible.
    pub covered: Vec<Corners>,
    /// Cells shown as percentages.
    pub percent: Vec<Corners>,
    /// Cells struck through.
    pub struck: Vec<Corners>,
}

/// What the sheets of a document lay out.
#[derive(Default)]
pub(crate) struct OdsLimits {
    /// The cells of each sheet that are unlike others.
    pub sheets: Vec<SheetCells>,
    /// Whether something other than tags is between cells: the reader takes it for damage.
    pub spaced: bool,
    told_in_all: usize,
    /// The style whose properties follow, and the names of those that strike text through.
    style: String,
    striking: HashSet<String>,
    cells: usize,
    rows: usize,
    text_bytes: usize,
    spans: usize,
    table: Option<Table>,
    row: Row,
    cell: Option<CellTag>,
}

#[derive(Default)]
struct Table {
    rows: usize,
    rows_filled: usize,
    width: usize,
}

#[derive(Default)]
struct Row {
    repeat: usize,
    cells: usize,
    empty: usize,
    filled: usize,
    text_bytes: usize,
}

struct CellTag {
    repeat: usize,
    filled: bool,
    covered: bool,
    percent: bool,
    struck: bool,
    text_bytes: usize,
}

impl PartWatch for OdsLimits {
    fn begin(&mut self, _part: &str) {}

    fn as_watch(&mut self) -> &mut dyn Watch {
        self
    }
}

impl Watch for OdsLimits {
    fn open(&mut self, tag: &Tag) -> Result<(), Refusal> {
        match tag.name() {
            "encryption-data" => Err(Refusal::Password),
            "table" if self.table.is_some() => Err(Refusal::holds("a table within a table")),
            "table" => {
                self.table = Some(Table::default());
                // The reader knows sheets by their names and leaves out those without.
                if tag.values("name").next().is_some() {
                    self.sheets.push(SheetCells::default());
                }
                Ok(())
            }
            "table-row" => {
                self.row = Row {
                    repeat: repetitions(tag, "number-rows-repeated")?,
                    ..Row::default()
                };
                Ok(())
            }
            "table-cell" | "covered-table-cell" => self.open_cell(tag),
            "style" => {
                self.style = tag.values("name").next().unwrap_or_default().to_owned();
                Ok(())
            }
            "text-properties" => self.text_properties(tag),
            "s" => self.text(repetitions(tag, "c")?),
            _ => Ok(()),
        }
    }

    fn close(&mut self, name: &str) -> Result<(), Refusal> {
        match name {
            "table" => self.table = None,
            "table-row" => return self.close_row(),
            "table-cell" | "covered-table-cell" => return self.close_cell(),
            _ => {}
        }
        Ok(())
    }

    fn text(&mut self, bytes: usize) -> Result<(), Refusal> {
        if let Some(cell) = &mut self.cell {
            cell.text_bytes = cell.text_bytes.saturating_add(bytes);
            within(cell.text_bytes, WORKBOOK_BYTES_MAX, "bytes in its cells")?;
        } else if self.table.is_some() {
            self.spaced = true;
        }
        Ok(())
    }
}

impl OdsLimits {
    fn text_properties(&mut self, tag: &Tag) -> Result<(), Refusal> {
        let mut lines = tag.attributes().filter(|(name, _)| {
            *name == "text-line-through-style" || *name == "text-line-through-type"
        });
        if lines.any(|(_, line)| line != "none") {
            self.striking.insert(std::mem::take(&mut self.style));
        }
        within(self.striking.len(), STRIKING_MAX, "styles")
    }

    fn open_cell(&mut self, tag: &Tag) -> Result<(), Refusal> {
        if tag.attributes().any(|(name, _)| name.ends_with("-spanned")) {
            self.spans += 1;
            within(self.spans, MERGES_MAX, "merged ranges")?;
        }
        let filled = tag.attributes().any(|(name, _)| {
            name == "value" || name == "formula" || name.ends_with("-value") || name == "value-type"
        });
        self.cell = Some(CellTag {
            repeat: repetitions(tag, "number-columns-repeated")?,
            filled,
            covered: tag.name() == "covered-table-cell",
            percent: tag.values("value-type").any(|kind| kind == "percentage"),
            struck: tag
                .values("style-name")
                .any(|style| self.striking.contains(style)),
            text_bytes: tag.inside().len(),
        });
        Ok(())
    }

    fn close_cell(&mut self) -> Result<(), Refusal> {
        let Some(cell) = self.cell.take() else {
            return Ok(());
        };
        let row = &mut self.row;
        row.cells = row.cells.saturating_add(row.empty.min(COLUMNS_READ_MAX));
        row.empty = 0;
        if cell.filled {
            let repeat = cell.repeat.min(COLUMNS_READ_MAX);
            if (cell.covered || cell.percent || cell.struck)
                && repeat > 0
                && let (Some(table), Some(sheet)) = (&self.table, self.sheets.last_mut())
            {
                let last_row = table.rows.saturating_add(row.repeat.saturating_sub(1));
                let corners = [(table.rows, row.cells), (last_row, row.cells + repeat - 1)];
                for (is_set, cells) in [
                    (cell.covered, &mut sheet.covered),
                    (cell.percent, &mut sheet.percent),
                    (cell.struck, &mut sheet.struck),
                ] {
                    cells.extend(is_set.then_some(corners));
                }
                self.told_in_all += 1;
                within(
                    self.told_in_all,
                    TOLD_MAX,
                    "cells that are covered, struck through or percentages",
                )?;
            }
            row.cells += repeat;
            row.filled = row.cells;
            row.text_bytes = row
                .text_bytes
                .saturating_add(cell.text_bytes.saturating_mul(repeat));
        } else {
            row.empty = cell.repeat;
        }
        Ok(())
    }

    fn close_row(&mut self) -> Result<(), Refusal> {
        let row = std::mem::take(&mut self.row);
        let Some(table) = &mut self.table else {
            return Err(Refusal::holds("a row outside a table"));
        };
        let (rows_before, cells_before) = (table.rows_filled, table.rows_filled * table.width);
        table.rows = table.rows.saturating_add(row.repeat);
        if row.filled > 0 {
            table.width = table.width.max(row.filled);
            table.rows_filled = table.rows;
            within(table.width, ROW_CELLS_MAX, "cells in a row")?;
            within(table.rows_filled, ROWS_MAX, "rows")?;
            let text = row.text_bytes.saturating_mul(row.repeat);
            self.text_bytes = self.text_bytes.saturating_add(text);
        }
        // What is laid out in the end, or what is read of one row: whatever is more.
        let laid_out = table.rows_filled * table.width - cells_before;
        self.cells = self.cells.saturating_add(laid_out.max(row.cells));
        self.rows += table.rows_filled - rows_before;
        within(self.cells, CELLS_MAX, "cells")?;
        let memory = memory_of(self.rows, self.cells, self.text_bytes);
        within(memory, WORKBOOK_BYTES_MAX, "bytes in its cells")
    }
}

/// How often a tag repeats what it holds; once if it does not say.
fn repetitions(tag: &Tag, attribute: &str) -> Result<usize, Refusal> {
    let mut most = None;
    for value in tag.values(attribute) {
        let number: usize = value
            .parse()
            .map_err(|_| Refusal::holds(format!("the repetition {value:?}")))?;
        most = most.max(Some(number));
    }
    Ok(most.unwrap_or(1))
}

fn within(number: usize, limit: usize, what: &str) -> Result<(), Refusal> {
    if number > limit {
        return Err(Refusal::holds(format!("more than {limit} {what}")));
    }
    Ok(())
}
