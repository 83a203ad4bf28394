//! What is written on the map: a number in each county, and on a wide screen its name and its fields at threshold instead.
//!
//! A style says which of the two is shown: without one the numbers are, as in a picture that is made of the map.

use std::fmt::Write;

use crate::shared::chart::escaped;
use crate::shared::map_frame::{Ring, room_for, tenth};

/// What to write in one county.
pub(super) struct Label<'a> {
    pub(super) number: usize,
    pub(super) name: &'a str,
    /// Fields at threshold in few characters, of a county with figures.
    pub(super) fields: Option<String>,
    pub(super) ink: &'static str,
    /// Whether the ground has marks on it, so that letters need a clear ground of their own.
    pub(super) on_marks: bool,
    pub(super) rings: &'a [Ring],
}

/// Height of the numbers, in pixels of a map 720 wide: legible on a phone and on paper, where it is half as wide.
const NUMBER_SIZE: f64 = 24.0;
/// For a county without room for it: the first is left out on a phone, the second on paper too.
const SMALL_NUMBERS: [(f64, &str); 2] = [(18.0, "small"), (14.0, "tiny")];
/// For names, which a map of at least its full width shows.
const NAME_SIZES: [f64; 3] = [16.0, 14.0, 12.5];
/// Height of a digit or capital, and the distance of lines, in parts of the size of a common sans serif; from memory.
const HIGH: f64 = 0.73;
const LINE: f64 = 1.15;
/// Room around a text, pixels.
const AROUND: f64 = 2.0;

/// Writes the labels.
pub(super) fn draw_labels(svg: &mut String, labels: &[Label]) {
    let mut names = String::new();
    let _ = write!(
        svg,
        r#"<g class="numbers" text-anchor="middle" stroke-linejoin="round">"#
    );
    for label in labels {
        let is_named = draw_name(&mut names, label);
        draw_number(svg, label, is_named);
    }
    let _ = write!(
        svg,
        r#"</g><g class="names" display="none" text-anchor="middle" stroke-linejoin="round">{names}</g>"#
    );
}

/// The number where the county has room for it, large if it can be.
fn draw_number(svg: &mut String, label: &Label, is_named: bool) {
    let number = label.number.to_string();
    let sizes = std::iter::once((NUMBER_SIZE, "")).chain(SMALL_NUMBERS);
    let fit = sizes.into_iter().find_map(|(size, kind)| {
        let wide = text_width(&number, size) + AROUND;
        let (middle, level) = room_for(label.rings, wide, size * HIGH / 2.0 + AROUND / 2.0)?;
        Some((size, kind, middle, level))
    });
    let Some((size, kind, middle, level)) = fit else {
        return;
    };
    let class = match (kind, is_named) {
        ("", false) => String::new(),
        ("", true) => r#" class="named""#.to_owned(),
        (kind, false) => format!(r#" class="{kind}""#),
        (kind, true) => format!(r#" class="{kind} named""#),
    };
    let size_said = tenth(size);
    draw_text(
        svg,
        label,
        &format!(r#"{class} font-size="{size_said}""#),
        [middle, level + size * HIGH / 2.0],
        &number,
    );
}

/// Name and fields at threshold where the county has room for them; whether it has.
fn draw_name(svg: &mut String, label: &Label) -> bool {
    for size in NAME_SIZES {
        for name in lines_of(label.name) {
            let lines: Vec<&str> = name.into_iter().chain(label.fields.as_deref()).collect();
            let widths = lines.iter().map(|line| text_width(line, size));
            let wide = widths.fold(0.0, f64::max) + 2.0 * AROUND;
            let high = size * (HIGH + LINE * (lines.len() - 1) as f64);
            let Some((middle, level)) = room_for(label.rings, wide, high / 2.0 + AROUND) else {
                continue;
            };
            for (place, line) in lines.iter().enumerate() {
                let base = level - high / 2.0 + size * (HIGH + LINE * place as f64);
                let weight = match label.fields.is_some() && place + 1 == lines.len() {
                    true => r#" font-weight="700""#,
                    false => "",
                };
                draw_text(
                    svg,
                    label,
                    &format!(r#" font-size="{}"{weight}"#, tenth(size)),
                    [middle, base],
                    line,
                );
            }
            return true;
        }
    }
    false
}

/// A name on one line, and on two if it has several words.
fn lines_of(name: &str) -> Vec<Vec<&str>> {
    let middle = name.len() / 2;
    let spaces = name.match_indices(' ').map(|(place, _)| place);
    let nearest = spaces.min_by_key(|place| place.abs_diff(middle));
    let broken = nearest.map(|place| vec![&name[..place], &name[place + 1..]]);
    std::iter::once(vec![name]).chain(broken).collect()
}

fn draw_text(svg: &mut String, label: &Label, attributes: &str, [x, y]: [f64; 2], text: &str) {
    let halo = match label.on_marks {
        true => r##" stroke="#fff" stroke-width="5" paint-order="stroke""##,
        false => "",
    };
    let _ = write!(
        svg,
        r#"<text{attributes} x="{}" y="{}" fill="{}"{halo}>{}</text>"#,
        tenth(x),
        tenth(y),
        label.ink,
        escaped(text),
    );
}

/// About how wide a text is in a common sans serif; from memory, and rather too wide.
fn text_width(text: &str, size: f64) -> f64 {
    let part = |letter: char| match letter {
        'i' | 'j' | 'l' | 't' | 'f' | 'r' | 'I' | ' ' | '.' | ',' | '\'' | '-' | '–' => 0.36,
        'm' | 'w' | 'M' | 'W' => 0.9,
        letter if letter.is_ascii_digit() || letter.is_lowercase() => 0.58,
        letter if letter.is_ascii() => 0.7,
        _ => 1.0,
    };
    text.chars().map(part).sum::<f64>() * size
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(name: &str, fields: Option<&str>, wide: f64, high: f64) -> String {
        let ring = vec![
            [0.0, 0.0],
            [wide, 0.0],
            [wide, high],
            [0.0, high],
            [0.0, 0.0],
        ];
        let mut svg = String::new();
        let label = Label {
            number: 34,
            name,
            fields: fields.map(str::to_owned),
            ink: "#000",
            on_marks: false,
            rings: &[ring],
        };
        draw_labels(&mut svg, &[label]);
        svg
    }

    #[test]
    fn a_county_has_its_name_and_fields_where_they_fit_and_its_number_in_any_case() {
        let svg = drawn("Charles Mix", Some("5 of 8"), 120.0, 60.0);
        assert!(
            svg.contains(">Charles Mix</text>") && svg.contains(">5 of 8</text>"),
            "{svg}"
        );
        assert!(
            svg.contains(r#"<text class="named" font-size="24""#),
            "{svg}"
        );
        // Two lines of a name where one is too wide.
        let svg = drawn("Charles Mix", Some("5 of 8"), 62.0, 60.0);
        assert!(
            svg.contains(">Charles</text>") && svg.contains(">Mix</text>"),
            "{svg}"
        );
        // No room for a name: the number alone, and small where it must be.
        let svg = drawn("Charles Mix", Some("5 of 8"), 26.0, 24.0);
        assert!(!svg.contains("Charles"), "{svg}");
        assert!(
            svg.contains(r#"<text class="small" font-size="18""#),
            "{svg}"
        );
    }
}
