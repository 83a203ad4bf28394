//! The tables of a note in its Markdown: columns of even width, so that they read as tables in plain text too.

use std::ops::Range;

use pulldown_cmark::{Alignment, Event, Parser, Tag, TagEnd};

use crate::shared::markdown::markdown_options;
use scouting::failure::{Failure, Kind};

/// Widest column that is filled up: a wider one would push the others out of the line. Our choice.
const FILLED_MAX: usize = 40;

struct Table {
    place: Range<usize>,
    alignments: Vec<Alignment>,
    /// The cells of each row as they are written, the heading first.
    rows: Vec<Vec<String>>,
}

/// The Markdown with each table that is in no list or quotation laid out evenly; nothing else is changed.
///
/// # Errors
/// A [`Failure`] if a row has more cells than its heading: Markdown would drop them.
pub(super) fn with_even_tables(markdown: &str) -> Result<String, Failure> {
    let mut even = markdown.to_owned();
    for table in tables_of(markdown)?.into_iter().rev() {
        even.replace_range(table.place.clone(), &laid_out(&table));
    }
    Ok(even)
}

fn tables_of(markdown: &str) -> Result<Vec<Table>, Failure> {
    let mut tables: Vec<Table> = Vec::new();
    let (mut depth, mut at_top) = (0_usize, false);
    let mut heading = 0;
    for (event, place) in Parser::new_ext(markdown, markdown_options()).into_offset_iter() {
        match event {
            Event::Start(Tag::Table(alignments)) => {
                at_top = depth == 0;
                heading = alignments.len();
                if at_top {
                    let rows = Vec::new();
                    tables.push(Table {
                        place: place.clone(),
                        alignments,
                        rows,
                    });
                }
                depth += 1;
            }
            Event::Start(tag) => {
                depth += 1;
                if tag == Tag::TableRow {
                    check_row(markdown, &place, heading)?;
                }
                if let (true, Some(table)) = (at_top, tables.last_mut()) {
                    match tag {
                        Tag::TableHead | Tag::TableRow => table.rows.push(Vec::new()),
                        Tag::TableCell => {
                            let cell = markdown[place].trim().to_owned();
                            table
                                .rows
                                .last_mut()
                                .into_iter()
                                .for_each(|row| row.push(cell.clone()));
                        }
                        _ => {}
                    }
                }
            }
            Event::End(end) => {
                depth = depth.saturating_sub(1);
                at_top &= end != TagEnd::Table;
            }
            _ => {}
        }
    }
    Ok(tables)
}

/// Whether a row, at its place in the note, has no more cells than its heading.
fn check_row(markdown: &str, place: &Range<usize>, heading: usize) -> Result<(), Failure> {
    let cells = cells_in(&markdown[place.clone()]);
    if cells <= heading {
        return Ok(());
    }
    let line = markdown[..place.start].matches('\n').count() + 1;
    Err(Failure::new(
        Kind::Publish,
        format!("a row of a table in the note has {cells} cells, and its heading has {heading}"),
    )
    .at(format!("line {line}"))
    .mend("give the heading as many cells, or write \\| for a bar that is part of a cell"))
}

/// Bars that part cells, counted as the cells between them. A backslash before a bar takes it out, whatever is
/// before the backslash (GitHub Flavored Markdown, section 4.10).
fn cells_in(row: &str) -> usize {
    let row = row.trim();
    let row = row.strip_prefix('|').unwrap_or(row);
    let mut bars = 0;
    let mut last = ' ';
    let mut ends_with_bar = false;
    for c in row.chars() {
        ends_with_bar = c == '|' && last != '\\';
        bars += usize::from(ends_with_bar);
        last = c;
    }
    bars + usize::from(!ends_with_bar)
}

fn laid_out(table: &Table) -> String {
    let columns = 0..table.alignments.len();
    let cell = |row: &Vec<String>, column: usize| row.get(column).cloned().unwrap_or_default();
    let width_of = |column: usize| {
        let widths = table
            .rows
            .iter()
            .map(|row| cell(row, column).chars().count());
        widths.max().unwrap_or(0).clamp(3, FILLED_MAX)
    };
    let widths: Vec<usize> = columns.map(width_of).collect();
    let mut lines = Vec::new();
    for (place, row) in table.rows.iter().enumerate() {
        let cells = widths.iter().zip(&table.alignments).enumerate();
        let cells = cells.map(|(column, (width, alignment))| {
            let text = cell(row, column);
            match alignment {
                Alignment::Right => format!("{text:>width$}"),
                Alignment::Center => format!("{text:^width$}"),
                Alignment::None | Alignment::Left => format!("{text:<width$}"),
            }
        });
        lines.push(format!("| {} |", cells.collect::<Vec<_>>().join(" | ")));
        if place == 0 {
            let under = widths.iter().zip(&table.alignments);
            let under = under.map(|(width, alignment)| match alignment {
                Alignment::Right => format!("{}:", "-".repeat(width - 1)),
                Alignment::Center => format!(":{}:", "-".repeat(width - 2)),
                Alignment::Left => format!(":{}", "-".repeat(width - 1)),
                Alignment::None => "-".repeat(*width),
            });
            lines.push(format!("| {} |", under.collect::<Vec<_>>().join(" | ")));
        }
    }
    lines.join("\n") + "\n"
}

#[cfg(test)]
mod tests {
    use crate::alert::note::rendered::Note;

    #[test]
    fn a_table_is_one_on_the_page_and_reads_as_one_in_plain_text() {
        let note = Note::read(
            "Trap catches:\n\n|Trap|Moths|Note|\n|---|--:|:-:|\n|north|3|*first* flight|\n|south \\| east|120|\n\nAfter it.",
        )
        .expect("a note");
        assert_eq!(
            note.markdown(),
            "Trap catches:\n\n\
             | Trap          | Moths |      Note      |\n\
             | ------------- | ----: | :------------: |\n\
             | north         |     3 | *first* flight |\n\
             | south \\| east |   120 |                |\n\n\
             After it.\n"
        );
        assert_eq!(
            note.html(),
            "<p>Trap catches:</p>\n<table><thead><tr><th>Trap</th><th>Moths</th><th>Note</th></tr></thead><tbody>\n\
             <tr><td>north</td><td>3</td><td><em>first</em> flight</td></tr>\n\
             <tr><td>south | east</td><td>120</td><td></td></tr>\n</tbody></table>\n<p>After it.</p>\n"
        );
        let again = Note::read(note.markdown()).expect("a note");
        assert_eq!(again, note);
    }

    #[test]
    fn a_cell_holds_no_more_than_a_note_may() {
        let note = Note::read(
            "|<b>a</b>|[x](javascript:alert(1))|\n|--|--|\n|![p](https://example.org/p.png)|`|`|",
        );
        let refused = note.expect_err("a bar too many").to_string();
        assert!(
            refused.contains("3 cells") && refused.contains("line 3"),
            "{refused}"
        );
        let note = Note::read(
            "|<b>a</b>|[x](javascript:alert(1))|\n|--|--|\n|![p](https://example.org/p.png)|1|",
        )
        .expect("a note");
        for tag in ["<b>", "<img", "href"] {
            assert!(!note.html().contains(tag), "{}", note.html());
        }
    }

    #[test]
    fn no_cell_is_dropped() {
        for (note, line) in [
            ("|a|b|\n|-|-|\n|1|2|\n|1|2|3|", "line 4"),
            ("Fine.\n\na | b\n- | -\n1 | 2 | 3", "line 5"),
            ("> |a|b|\n> |-|-|\n> |1|2|3|", "line 3"),
            ("- |a|b|\n  |-|-|\n  |1|2|3|4|", "line 3"),
        ] {
            let refused = Note::read(note).expect_err(note).to_string();
            assert!(refused.contains(line), "{note}: {refused}");
        }
        for note in [
            "|a|b|\n|-|-|\n|1|\n|1|2|\n|1|2",
            "a | b\n- | -\n1 | 2\n1 \\| 1 | 2 \\\\",
            "a | b\n- | -\n1 \\\\| 1 | 2",
            "|a|b|\n|-|-|\n| 1 | 2 |  \n",
        ] {
            assert!(Note::read(note).is_ok(), "{note}");
        }
    }

    #[test]
    fn a_table_in_a_list_or_quotation_stays_as_it_is_written() {
        let text = "> |a|b|\n> |-|-|\n> |1|2|\n";
        let note = Note::read(text).expect("a note");
        assert_eq!(note.markdown(), text);
        assert!(note.html().contains("<td>1</td>"), "{}", note.html());
    }
}
