//! The entomologist's own words as blocks: paragraphs, lists, headings and tables, each link with its address behind it.

use pulldown_cmark::{Event, Parser, Tag, TagEnd};

use super::content::{Block, Cell, Row, Run, Table, cell, plain};
use crate::alert::note::rendered::Note;
use crate::shared::markdown::markdown_options;

/// The blocks of a note.
pub(super) fn note_blocks(note: &Note) -> Vec<Block> {
    let mut reading = Reading::default();
    for event in Parser::new_ext(note.markdown(), markdown_options()) {
        reading.take(event);
    }
    reading.end_block();
    reading.blocks
}

/// What has been read so far.
#[derive(Default)]
struct Reading {
    blocks: Vec<Block>,
    runs: Vec<Run>,
    bold: usize,
    /// The next number of each list that is open; `None` of one without numbers.
    lists: Vec<Option<u64>>,
    is_heading: bool,
    is_item: bool,
    link: Option<String>,
    rows: Vec<Row>,
    cells: Vec<Cell>,
}

impl Reading {
    fn take(&mut self, event: Event) {
        match event {
            Event::Start(tag) => self.start(tag),
            Event::End(tag) => self.end(tag),
            Event::Text(text) | Event::Code(text) | Event::Html(text) | Event::InlineHtml(text) => {
                self.say(&text);
            }
            Event::SoftBreak | Event::HardBreak => self.say(" "),
            // Of what the Markdown of a note has, a rule is left, which says nothing.
            _ => {}
        }
    }

    fn say(&mut self, text: &str) {
        self.runs.push(Run {
            text: text.replace('\n', " "),
            bold: self.bold > 0,
        });
    }

    fn start(&mut self, tag: Tag) {
        match tag {
            Tag::Strong => self.bold += 1,
            Tag::Link { dest_url, .. } => self.link = Some(dest_url.into_string()),
            Tag::Heading { .. } => {
                self.end_block();
                self.is_heading = true;
            }
            Tag::List(first) => {
                self.end_block();
                self.lists.push(first);
            }
            Tag::Item => {
                self.end_block();
                self.is_item = true;
                if let Some(Some(number)) = self.lists.last_mut() {
                    let marker = format!("{number}. ");
                    *number += 1;
                    self.runs.push(plain(&marker));
                }
            }
            Tag::Paragraph if !self.is_item => self.end_block(),
            Tag::Table(_) => self.end_block(),
            _ => {}
        }
    }

    fn end(&mut self, tag: TagEnd) {
        match tag {
            TagEnd::Strong => self.bold = self.bold.saturating_sub(1),
            TagEnd::Link => {
                let said: String = self.runs.iter().map(|run| run.text.as_str()).collect();
                let address = self
                    .link
                    .take()
                    .filter(|address| !said.ends_with(address.as_str()));
                if let Some(address) = address {
                    self.say(&format!(" ({address})"));
                }
            }
            TagEnd::Paragraph | TagEnd::Heading(_) | TagEnd::Item | TagEnd::CodeBlock => {
                self.end_block();
            }
            TagEnd::List(_) => {
                self.lists.pop();
            }
            TagEnd::TableCell => {
                let runs = std::mem::take(&mut self.runs);
                let said: String = runs.into_iter().map(|run| run.text).collect();
                self.cells.push(cell(&said));
            }
            TagEnd::TableHead | TagEnd::TableRow => {
                let cells = std::mem::take(&mut self.cells);
                self.rows.push(Row { bold: false, cells });
            }
            TagEnd::Table => {
                let mut rows = std::mem::take(&mut self.rows).into_iter();
                let heads = rows.next().map(|row| row.cells).unwrap_or_default();
                self.blocks.push(Block::Table(Table {
                    caption: String::new(),
                    heads: heads.into_iter().map(|cell| cell.text).collect(),
                    rows: rows.collect(),
                }));
            }
            _ => {}
        }
    }

    fn end_block(&mut self) {
        let runs = std::mem::take(&mut self.runs);
        let (is_heading, is_item) = (self.is_heading, self.is_item);
        self.is_heading = false;
        if runs.iter().all(|run| run.text.trim().is_empty()) {
            return;
        }
        self.is_item = false;
        self.blocks.push(match (is_heading, is_item) {
            (true, _) => Block::Subheading(runs.into_iter().map(|run| run.text).collect()),
            (_, true) => Block::Item(runs),
            _ => Block::Text(runs),
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_of_a_note_is_in_a_block_of_its_kind() {
        let note = Note::read(
            "## From *the* field\n\nMoths **fly** at [dusk](https://example.org/a).\n\n- one\n- two\n  - in two\n\n3. three\n\n> said\n\n\
             | a | b |\n|---|---|\n| 1 | 2 |\n\n    code\n",
        )
        .expect("a note");
        let kinds: Vec<String> = note_blocks(&note)
            .iter()
            .map(|block| match block {
                Block::Subheading(text) => format!("h {text}"),
                Block::Text(runs) => format!("p {}", said(runs)),
                Block::Item(runs) => format!("li {}", said(runs)),
                Block::Table(table) => {
                    format!("table {:?} {}", table.heads, table.rows[0].cells[1].text)
                }
                other => format!("{other:?}"),
            })
            .collect();
        assert_eq!(
            kinds,
            [
                "h From the field",
                "p Moths *fly* at dusk (https://example.org/a).",
                "li one",
                "li two",
                "li in two",
                "li 3. three",
                "p said",
                "table [\"a\", \"b\"] 2",
                "p code ",
            ]
        );
    }

    fn said(runs: &[Run]) -> String {
        let runs = runs.iter().map(|run| match run.bold {
            true => format!("*{}*", run.text),
            false => run.text.clone(),
        });
        runs.collect()
    }
}
