//! A table laid out on paper: columns as wide as their cells need, its head again on every page.

use super::content::{Row, Run, Table};
use super::layout::{BLACK, COLUMN, Ink, LINE, MARGIN, Mark, Paper, Role, Type, ending_at};
use super::lines::{Line, lines_of};
use crate::shared::fonts::Weight;

const CELL: Type = (8.2, 10.0);
const HEAD: Type = (7.8, 9.4);
/// Between two columns.
const GAP: f32 = 7.0;
/// What a column has more than its widest cell, so that rounding breaks no cell.
const SLACK: f32 = 0.5;
/// What a column has of the room that is left, at most.
const SPARE_MOST: f32 = 9.0;
/// The first column has at least this much, however much the others ask for.
const FIRST_LEAST: f32 = 96.0;
/// And as much as its names need, up to this.
const FIRST_MOST: f32 = 150.0;

pub(super) fn draw_table(paper: &mut Paper, table: &Table) {
    let columns = columns_of(paper, table);
    let heads: Vec<Vec<Line>> = table
        .heads
        .iter()
        .zip(&columns)
        .map(|(head, [_, wide])| cell_lines(paper, head, true, *wide, HEAD))
        .collect();
    let part = paper.part(Role::Table, None);
    let height = height_of(&heads, HEAD);
    paper.make_room(height + 4.0 * CELL.1);
    let row = paper.part(Role::TableRow, Some(part));
    let head_parts: Vec<usize> = heads
        .iter()
        .map(|_| paper.part(Role::ColumnHead, Some(row)))
        .collect();
    draw_heads(paper, &heads, &columns, Some(&head_parts));
    for row in &table.rows {
        draw_row(paper, row, part, &columns, &heads);
    }
    paper.y += 4.0;
}

/// Left end and width of each column.
fn columns_of(paper: &Paper, table: &Table) -> Vec<[f32; 2]> {
    let of = |text: &str, bold: bool, size| {
        let weight = if bold { Weight::Bold } else { Weight::Regular };
        paper.widths.of(&paper.widths.shown(text), weight, size)
    };
    let count = table.heads.len();
    let mut wide: Vec<f32> = table
        .heads
        .iter()
        .map(|head| {
            head.split(' ')
                .map(|word| of(word, true, HEAD.0))
                .fold(0.0, f32::max)
        })
        .collect();
    for row in &table.rows {
        let mut column = 0;
        for cell in &row.cells {
            if cell.columns == 1 && column < count {
                wide[column] = wide[column].max(of(&cell.text, row.bold, CELL.0));
            }
            column += cell.columns;
        }
    }
    let least = (wide.first().copied().unwrap_or_default() + SLACK).clamp(FIRST_LEAST, FIRST_MOST);
    let needed: f32 = wide.iter().skip(1).map(|wide| wide + GAP + SLACK).sum();
    // What the first column can spare lets heads have fewer lines.
    let spare = (COLUMN - least - needed) / count.saturating_sub(1).max(1) as f32;
    for wide in &mut wide {
        *wide += SLACK + spare.clamp(0.0, SPARE_MOST);
    }
    // The others get what they need, or their part of what there is; the first gets the rest.
    let others: f32 = wide.iter().skip(1).map(|wide| wide + GAP).sum();
    let there_is = COLUMN - least;
    let part = if others > there_is {
        there_is / others
    } else {
        1.0
    };
    let mut x = MARGIN;
    let first = COLUMN - others.min(there_is);
    wide.iter()
        .enumerate()
        .map(|(place, wide)| {
            let all = match place {
                0 => first,
                _ => (wide + GAP) * part,
            };
            let left = if place == 0 { x } else { x + GAP * part };
            let column = [left, x + all - left];
            x += all;
            column
        })
        .collect()
}

fn cell_lines(paper: &Paper, text: &str, bold: bool, wide: f32, letters: Type) -> Vec<Line> {
    let run = Run {
        text: text.to_owned(),
        bold,
    };
    let mut lines = lines_of(&[run], wide, letters.0, paper.widths);
    // At the right edge a space at the end of a line would move it.
    for piece in lines.iter_mut().filter_map(|line| line.last_mut()) {
        if piece.text.ends_with(' ') {
            piece.width -= paper.widths.of(" ", Weight::Regular, letters.0);
        }
    }
    lines
}

fn height_of(cells: &[Vec<Line>], letters: Type) -> f32 {
    let lines = cells.iter().map(Vec::len).max().unwrap_or(1).max(1);
    lines as f32 * letters.1 + 2.4
}

/// The heads, level at their feet; of no part where they are repeated.
fn draw_heads(
    paper: &mut Paper,
    heads: &[Vec<Line>],
    columns: &[[f32; 2]],
    parts: Option<&[usize]>,
) {
    let height = height_of(heads, HEAD);
    for (place, (lines, column)) in heads.iter().zip(columns).enumerate() {
        let first = paper.y + height - 2.0 - lines.len() as f32 * HEAD.1;
        let part = parts.map(|parts| parts[place]);
        draw_cell(paper, lines, *column, place > 0, first, HEAD, part);
    }
    paper.y += height;
    rule(paper, 0.9, BLACK);
}

fn draw_row(paper: &mut Paper, row: &Row, table: usize, columns: &[[f32; 2]], heads: &[Vec<Line>]) {
    let mut place = 0;
    let cells: Vec<(usize, [f32; 2], usize, Vec<Line>)> = row
        .cells
        .iter()
        .filter_map(|cell| {
            let [left, _] = *columns.get(place)?;
            let [last, wide] = *columns.get((place + cell.columns).min(columns.len()) - 1)?;
            let column = [left, last + wide - left];
            let lines = cell_lines(paper, &cell.text, row.bold, column[1], CELL);
            let at = place;
            place += cell.columns;
            Some((at, column, cell.columns, lines))
        })
        .collect();
    let lines: Vec<Vec<Line>> = cells.iter().map(|cell| cell.3.clone()).collect();
    let height = height_of(&lines, CELL);
    if paper.make_room(height) {
        draw_heads(paper, heads, columns, None);
    }
    let of_row = paper.part(Role::TableRow, Some(table));
    for (place, column, spans, lines) in &cells {
        let role = match place {
            0 => Role::RowHead,
            _ => Role::Cell(*spans),
        };
        let part = paper.part(role, Some(of_row));
        let first = paper.y + 1.2;
        draw_cell(paper, lines, *column, *place > 0, first, CELL, Some(part));
    }
    paper.y += height;
    rule(paper, 0.4, LINE);
}

fn draw_cell(
    paper: &mut Paper,
    lines: &[Line],
    [left, wide]: [f32; 2],
    at_right: bool,
    first: f32,
    letters: Type,
    part: Option<usize>,
) {
    for (place, line) in lines.iter().enumerate() {
        let x = match at_right {
            true => ending_at(line, left + wide),
            false => left,
        };
        let at = [x, first + place as f32 * letters.1];
        paper.line(line, at, letters, BLACK, part);
    }
}

/// A line across the column at the height that is reached.
fn rule(paper: &mut Paper, high: f32, ink: Ink) {
    let frame = [MARGIN, paper.y, COLUMN, high];
    paper.draw(Mark::Fill { frame, ink }, None);
}
