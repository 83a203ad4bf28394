//! The map as a drawing of its own, to paste into a slide, a page or a post: title, week, map, legend, figures of the counties
//! and the cautions in a sentence. It needs no other file; its letters are text.

use std::fmt::Write;

use super::super::row_words::fields_in_words;
use super::super::summary::Summary;
use super::content::{Block, Content};
use super::lines::{Line, plain_lines};
use crate::alert::bulletin::Bulletin;
use crate::shared::cautions::IN_ONE_SENTENCE;
use crate::shared::chart::{INK, escaped};
use crate::shared::fonts::{FAMILY, Weight, Widths};
use crate::shared::shown_names::{display_name, display_numbers};

/// Width of the drawing, which is its width in pixels as a picture: what social pages show is 1,200 wide.
const WIDTH: f32 = 1200.0;
const MARGIN: f32 = 48.0;
const COLUMN: f32 = WIDTH - 2.0 * MARGIN;
/// Height of the map at most.
const MAP_HEIGHT_MAX: f32 = 760.0;
/// Width and height of a swatch.
const SWATCH: [f32; 2] = [44.0, 27.0];

/// The sheet as SVG.
pub(super) fn map_sheet(bulletin: &Bulletin, content: &Content, widths: &Widths) -> String {
    let mut sheet = Sheet {
        svg: String::new(),
        y: 0.0,
        widths,
    };
    for block in &content.blocks {
        if let Block::Notice(notice) = block {
            sheet.band(notice);
        }
    }
    sheet.y += 18.0;
    sheet.text(&content.subject, true, 34.0, 42.0);
    sheet.text(&about(bulletin, content), false, 24.0, 32.0);
    sheet.text(&content.headline, true, 27.0, 36.0);
    sheet.y += 14.0;
    sheet.map(&content.map.svg);
    let entries: Vec<(&str, String)> = content
        .map
        .legend
        .iter()
        .map(|entry| {
            let words = format!("{} ({})", entry.words, entry.counties);
            (entry.swatch.as_str(), words)
        })
        .collect();
    sheet.legend(&entries);
    sheet.text(&content.map_caption, false, 19.0, 26.0);
    sheet.figures(bulletin);
    sheet.y += 8.0;
    sheet.text(IN_ONE_SENTENCE, true, 21.0, 29.0);
    if !bulletin.contact.is_empty() {
        sheet.text(&display_name(bulletin.contact), false, 19.0, 26.0);
    }
    sheet.finish(content)
}

/// The place, the week, and the number of the alert.
fn about(bulletin: &Bulletin, content: &Content) -> String {
    let region = display_name(bulletin.region.title());
    let place = match region.is_empty() {
        true => String::new(),
        false => format!("{region}, "),
    };
    let issued = match bulletin.issue {
        Some(issue) => format!(" · alert {}", issue.number),
        None => " · draft".to_owned(),
    };
    format!("{place}{}{issued} · preliminary", content.week)
}

struct Sheet<'a> {
    svg: String,
    /// How far down it is filled.
    y: f32,
    widths: &'a Widths,
}

impl Sheet<'_> {
    /// The notice of invented data, across the whole width.
    fn band(&mut self, notice: &str) {
        let lines = plain_lines(notice, true, COLUMN, 21.0, self.widths);
        let height = lines.len() as f32 * 29.0 + 22.0;
        // Writing to a String cannot fail.
        let _ = write!(
            self.svg,
            r##"<rect width="{WIDTH}" height="{height}" fill="#fff3c4"/>"##
        );
        self.y = 8.0;
        self.lines(&lines, MARGIN, 21.0, 29.0);
        self.y = height;
    }

    fn text(&mut self, said: &str, bold: bool, size: f32, leading: f32) {
        let lines = plain_lines(said, bold, COLUMN, size, self.widths);
        self.lines(&lines, MARGIN, size, leading);
    }

    fn lines(&mut self, lines: &[Line], x: f32, size: f32, leading: f32) {
        for line in lines {
            self.y += leading;
            for piece in line {
                let weight = match piece.weight {
                    Weight::Bold => r#" font-weight="700""#,
                    Weight::Regular => "",
                };
                let _ = write!(
                    self.svg,
                    r#"<text x="{}" y="{}" font-size="{size}"{weight}>{}</text>"#,
                    tenth(x + piece.x),
                    tenth(self.y - leading * 0.22),
                    escaped(piece.text.trim_end())
                );
            }
        }
    }

    fn map(&mut self, map: &str) {
        let [wide, high] = view_box(map).unwrap_or([720.0, 560.0]);
        let scale = (COLUMN / wide).min(MAP_HEIGHT_MAX / high);
        let (wide, high) = (wide * scale, high * scale);
        let x = MARGIN + (COLUMN - wide) / 2.0;
        self.svg.push_str(&placed(map, [x, self.y, wide, high]));
        self.y += high + 16.0;
    }

    /// Two columns of classes.
    fn legend(&mut self, entries: &[(&str, String)]) {
        let half = COLUMN / 2.0;
        let top = self.y;
        let mut deepest = top;
        for column in entries.chunks(entries.len().div_ceil(2).max(1)).enumerate() {
            let (place, entries) = column;
            let x = MARGIN + place as f32 * half;
            self.y = top;
            for (swatch, words) in entries {
                let beside = SWATCH[0] + 14.0;
                let lines = plain_lines(words, false, half - beside - 20.0, 20.0, self.widths);
                let [wide, high] = SWATCH;
                self.svg
                    .push_str(&placed(swatch, [x, self.y + 3.0, wide, high]));
                self.lines(&lines, x + beside, 20.0, 27.0);
                self.y += 8.0;
            }
            deepest = deepest.max(self.y);
        }
        self.y = deepest;
    }

    /// The counties with figures, by their numbers on the map: without the page the numbers would say nothing.
    fn figures(&mut self, bulletin: &Bulletin) {
        let words = bulletin.protocol.words();
        let summary = Summary::of(bulletin.region, bulletin.rows, words);
        let numbers = display_numbers(bulletin.region);
        let mut counties: Vec<(usize, String)> = summary
            .shown
            .iter()
            .filter_map(|county| {
                let number = *numbers.get(county.row.place.county()?)?;
                let said = format!("{number} {}: {}", county.name, fields_in_words(county.row));
                Some((number, said))
            })
            .collect();
        counties.sort();
        if counties.is_empty() {
            return;
        }
        let heading = format!(
            "{} {}, of those sampled, by county",
            words.several(),
            words.at()
        );
        self.y += 6.0;
        self.text(
            &crate::shared::passages::sentence_case(&heading),
            true,
            20.0,
            30.0,
        );
        let wide = COLUMN / 3.0;
        let top = self.y;
        let mut deepest = top;
        for (place, column) in counties.chunks(counties.len().div_ceil(3)).enumerate() {
            self.y = top;
            for (_, said) in column {
                let lines = plain_lines(said, false, wide - 20.0, 19.0, self.widths);
                self.lines(&lines, MARGIN + place as f32 * wide, 19.0, 26.0);
            }
            deepest = deepest.max(self.y);
        }
        self.y = deepest;
    }

    fn finish(self, content: &Content) -> String {
        let height = (self.y + 30.0).ceil();
        let title = escaped(&self.widths.shown(&format!(
            "{}: {}, {}",
            content.headline, content.subject, content.week
        )));
        format!(
            r##"<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{height}" viewBox="0 0 {WIDTH} {height}" font-family="{FAMILY}, Arial, sans-serif" fill="{INK}"><title>{title}</title><rect width="{WIDTH}" height="{height}" fill="#fff"/>{}</svg>
"##,
            self.svg
        )
    }
}

/// A drawing at a place of another: left, top, width and height.
pub(super) fn placed(svg: &str, [x, y, wide, high]: [f32; 4]) -> String {
    let place = format!(
        r#"<svg x="{}" y="{}" width="{}" height="{}" "#,
        tenth(x),
        tenth(y),
        tenth(wide),
        tenth(high)
    );
    svg.replacen("<svg ", &place, 1)
}

/// Width and height of a drawing in its own units.
pub(super) fn view_box(svg: &str) -> Option<[f32; 2]> {
    let (_, rest) = svg.split_once("viewBox=\"0 0 ")?;
    let (numbers, _) = rest.split_once('"')?;
    let (wide, high) = numbers.split_once(' ')?;
    let (wide, high): (f32, f32) = (wide.parse().ok()?, high.parse().ok()?);
    (wide > 0.0 && high > 0.0).then_some([wide, high])
}

/// A position in tenths.
fn tenth(value: f32) -> f32 {
    (value * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drawing_is_placed_by_its_view_box() {
        let svg = r#"<svg class="map" viewBox="0 0 720 480.5"><svg x="1"/></svg>"#;
        assert_eq!(view_box(svg), Some([720.0, 480.5]));
        assert_eq!(view_box("<svg>"), None);
        assert_eq!(
            placed(svg, [1.0, 2.26, 3.0, 4.0]),
            r#"<svg x="1" y="2.3" width="3" height="4" class="map" viewBox="0 0 720 480.5"><svg x="1"/></svg>"#
        );
    }
}
