//! The alert laid out on pages of paper: what is drawn where, and which part of the document it belongs to. Draws nothing.

use super::content::{Block, Content, Run, plain};
use super::lines::{Line, lines_of, width_of};
use super::map_sheet::{placed, view_box};
use super::table_layout::draw_table;
use crate::shared::fonts::{Weight, Widths};

/// US Letter, in points.
pub(super) const PAGE: [f32; 2] = [612.0, 792.0];
pub(super) const MARGIN: f32 = 43.0;
const TOP: f32 = 30.0;
const BOTTOM: f32 = 760.0;
/// Width of what is printed.
pub(super) const COLUMN: f32 = PAGE[0] - 2.0 * MARGIN;
/// Baseline of the foot.
pub(super) const FOOT: f32 = 776.0;

/// A color.
pub(super) type Ink = [u8; 3];
pub(super) const BLACK: Ink = [0x1a, 0x22, 0x30];
pub(super) const SOFT: Ink = [0x4d, 0x57, 0x68];
pub(super) const LINE: Ink = [0xc9, 0xcf, 0xd8];
const NOTICE_GROUND: Ink = [0xff, 0xf3, 0xc4];
const NOTICE_INK: Ink = [0x3d, 0x30, 0x00];

/// Size of the letters and height of a line.
pub(super) type Type = (f32, f32);
const BODY: Type = (8.1, 9.8);
const FINE: Type = (7.4, 9.0);
const SMALL: Type = (7.6, 9.6);
const TITLE: Type = (16.0, 19.0);
const HEADING: Type = (11.0, 13.5);
const SUBHEADING: Type = (9.0, 11.5);
const LEGEND: Type = (8.2, 10.2);

/// What is drawn.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Mark {
    Text {
        at: [f32; 2],
        size: f32,
        weight: Weight,
        ink: Ink,
        text: String,
    },
    /// A filled rectangle: left, top, width, height.
    Fill { frame: [f32; 4], ink: Ink },
    /// A drawing as SVG in a frame.
    Picture { frame: [f32; 4], svg: String },
}

/// A part of the document, as a program that reads it aloud knows it.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Role {
    Heading(u16, String),
    Paragraph,
    List,
    Item,
    ItemBody,
    /// With what it shows, in words.
    Figure(String),
    Table,
    TableRow,
    ColumnHead,
    RowHead,
    /// With how many columns it spans.
    Cell(usize),
}

/// A part and the part that it is in; `None` at the top.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    pub(super) role: Role,
    pub(super) within: Option<usize>,
}

/// A mark and its part; `None` of what says nothing, such as a line.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Drawn {
    pub(super) mark: Mark,
    pub(super) part: Option<usize>,
}

/// An entry of the outline: heading, page, height on it.
pub(super) type Entry = (String, usize, f32);

/// The pages as far as they are laid out.
pub(super) struct Paper<'a> {
    pub(super) pages: Vec<Vec<Drawn>>,
    pub(super) parts: Vec<Part>,
    pub(super) outline: Vec<Entry>,
    pub(super) widths: &'a Widths,
    /// How far down the last page is filled.
    pub(super) y: f32,
}

/// Lays an alert out.
pub(super) fn laid_out<'a>(content: &Content, widths: &'a Widths) -> Paper<'a> {
    let mut paper = Paper {
        pages: vec![Vec::new()],
        parts: Vec::new(),
        outline: Vec::new(),
        widths,
        y: TOP,
    };
    let mut list = None;
    for block in &content.blocks {
        if !matches!(block, Block::Item(_)) {
            list = None;
        }
        match block {
            Block::Notice(text) => paper.notice(text),
            Block::Title(text) => paper.heading(1, text, TITLE, 6.0),
            Block::Heading(text) => paper.heading(2, text, HEADING, 3.5),
            Block::Subheading(text) => paper.heading(3, text, SUBHEADING, 1.5),
            Block::Text(runs) => paper.paragraph(runs, BODY, BLACK),
            Block::Fine(runs) => paper.paragraph(runs, FINE, BLACK),
            Block::Small(text) => paper.paragraph(&[plain(text)], SMALL, SOFT),
            Block::Item(runs) => {
                let list = *list.get_or_insert_with(|| paper.part(Role::List, None));
                paper.item(runs, list);
            }
            Block::Map => paper.map(content),
            Block::Table(table) => {
                if !table.caption.is_empty() {
                    paper.paragraph(&[plain(&table.caption)], SMALL, SOFT);
                }
                draw_table(&mut paper, table);
            }
        }
    }
    paper
}

impl Paper<'_> {
    pub(super) fn part(&mut self, role: Role, within: Option<usize>) -> usize {
        self.parts.push(Part { role, within });
        self.parts.len() - 1
    }

    pub(super) fn draw(&mut self, mark: Mark, part: Option<usize>) {
        let page = self.pages.last_mut().expect("there is always a last page");
        page.push(Drawn { mark, part });
    }

    /// Begins a page unless so much has room on this one; whether it did.
    pub(super) fn make_room(&mut self, height: f32) -> bool {
        let full = self.y + height > BOTTOM && self.y > TOP;
        if full {
            self.pages.push(Vec::new());
            self.y = TOP;
        }
        full
    }

    /// Draws a line, its top at `y`.
    pub(super) fn line(
        &mut self,
        line: &Line,
        [x, y]: [f32; 2],
        (size, leading): Type,
        ink: Ink,
        part: Option<usize>,
    ) {
        let baseline = y + leading - (leading - size * 0.72) / 2.0;
        for piece in line {
            let text = Mark::Text {
                at: [x + piece.x, baseline],
                size,
                weight: piece.weight,
                ink,
                text: piece.text.clone(),
            };
            self.draw(text, part);
        }
    }

    fn text(&mut self, lines: &[Line], x: f32, letters: Type, ink: Ink, part: usize) {
        for line in lines {
            self.make_room(letters.1);
            self.line(line, [x, self.y], letters, ink, Some(part));
            self.y += letters.1;
        }
    }

    fn notice(&mut self, text: &str) {
        let run = Run {
            text: text.to_owned(),
            bold: true,
        };
        let lines = lines_of(&[run], COLUMN - 16.0, BODY.0, self.widths);
        let height = lines.len() as f32 * BODY.1 + 8.0;
        let ground = Mark::Fill {
            frame: [MARGIN, self.y, COLUMN, height],
            ink: NOTICE_GROUND,
        };
        self.draw(ground, None);
        let top = self.y;
        self.y += 4.0;
        let part = self.part(Role::Paragraph, None);
        self.text(&lines, MARGIN + 8.0, BODY, NOTICE_INK, part);
        self.y = top + height + 6.0;
    }

    fn heading(&mut self, level: u16, text: &str, letters: Type, above: f32) {
        let run = Run {
            text: text.to_owned(),
            bold: true,
        };
        let lines = lines_of(&[run], COLUMN, letters.0, self.widths);
        // Not without the first lines of what it is the heading of.
        let height = above + lines.len() as f32 * letters.1 + 3.0 * BODY.1;
        if !self.make_room(height) && self.y > TOP {
            self.y += above;
        }
        let said = self.widths.shown(text);
        self.outline
            .push((said.clone(), self.pages.len() - 1, self.y));
        let part = self.part(Role::Heading(level, said), None);
        self.text(&lines, MARGIN, letters, BLACK, part);
        self.y += 2.0;
    }

    fn paragraph(&mut self, runs: &[Run], letters: Type, ink: Ink) {
        let lines = lines_of(runs, COLUMN, letters.0, self.widths);
        let part = self.part(Role::Paragraph, None);
        self.text(&lines, MARGIN, letters, ink, part);
        self.y += 2.2;
    }

    fn item(&mut self, runs: &[Run], list: usize) {
        const INDENT: f32 = 11.0;
        let lines = lines_of(runs, COLUMN - INDENT, BODY.0, self.widths);
        self.make_room(BODY.1 * lines.len().min(2) as f32);
        let item = self.part(Role::Item, Some(list));
        let part = self.part(Role::ItemBody, Some(item));
        // The dot says nothing: the item is tagged as one.
        let frame = [MARGIN + 3.0, self.y + BODY.1 / 2.0 - 1.0, 2.4, 2.4];
        self.draw(Mark::Fill { frame, ink: SOFT }, None);
        self.text(&lines, MARGIN + INDENT, BODY, BLACK, part);
        self.y += 0.8;
    }

    /// The map at the left, its legend at the right.
    fn map(&mut self, content: &Content) {
        const WIDE: f32 = 318.0;
        const HIGH: f32 = 150.0;
        const SWATCH: [f32; 2] = [22.0, 13.75];
        const GAP: f32 = 14.0;
        let [wide, high] = view_box(&content.map.svg).unwrap_or([720.0, 560.0]);
        let scale = (WIDE / wide).min(HIGH / high);
        let (map_wide, map_high) = (wide * scale, high * scale);
        let left = map_wide + GAP;
        let beside = left + SWATCH[0] + 7.0;
        // On paper there is room for the classes that counties have.
        let legend = content.map.legend.iter();
        let legend: Vec<_> = legend
            .filter(|entry| !entry.counties.starts_with("0 "))
            .collect();
        let entries: Vec<Vec<Line>> = legend
            .iter()
            .map(|entry| {
                let said = format!("{} ({})", entry.words, entry.counties);
                lines_of(&[plain(&said)], COLUMN - beside, LEGEND.0, self.widths)
            })
            .collect();
        let height_of = |lines: &Vec<Line>| (lines.len() as f32 * LEGEND.1).max(SWATCH[1]) + 3.0;
        let height = map_high.max(entries.iter().map(height_of).sum());
        self.make_room(height + 2.0 * SMALL.1);
        let figure = self.part(Role::Figure(in_words(content)), None);
        let top = self.y;
        let mut drawings = placed(&content.map.svg, [0.0, 0.0, map_wide, map_high]);
        let list = self.part(Role::List, None);
        let mut y = 0.0;
        let mut words = Vec::new();
        for (entry, lines) in legend.iter().zip(&entries) {
            drawings.push_str(&placed(&entry.swatch, [left, y, SWATCH[0], SWATCH[1]]));
            words.push((y, lines));
            y += height_of(lines);
        }
        let svg = format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="{COLUMN}" height="{height}" viewBox="0 0 {COLUMN} {height}">{drawings}</svg>"#
        );
        let frame = [MARGIN, top, COLUMN, height];
        self.draw(Mark::Picture { frame, svg }, Some(figure));
        for (y, lines) in words {
            let item = self.part(Role::Item, Some(list));
            let part = self.part(Role::ItemBody, Some(item));
            // A single line is level with the middle of its swatch.
            let first = top + y + if lines.len() == 1 { 1.8 } else { 0.0 };
            for (place, line) in lines.iter().enumerate() {
                let at = [MARGIN + beside, first + place as f32 * LEGEND.1];
                self.line(line, at, LEGEND, BLACK, Some(part));
            }
        }
        self.y = top + height + 3.0;
        let caption = format!(
            "{} Classes that no county has are left out. The table has each county's number on the map.",
            content.map_caption
        );
        self.paragraph(&[plain(&caption)], SMALL, SOFT);
    }
}

/// What the map shows, for those who do not see it: the classes that counties have.
fn in_words(content: &Content) -> String {
    let classes = content.map.legend.iter();
    let classes: Vec<String> = classes
        .filter(|entry| !entry.counties.starts_with("0 "))
        .map(|entry| format!("{}: {}", entry.counties, entry.words))
        .collect();
    format!(
        "Map of the counties by class of the median pressure. {}. The table has the same figures.",
        classes.join("; ")
    )
}

/// The right end of a line that ends at `x`.
pub(super) fn ending_at(line: &Line, x: f32) -> f32 {
    x - width_of(line)
}
