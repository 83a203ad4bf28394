//! Texts broken into lines by the widths of the fonts.

use super::content::Run;
use crate::shared::fonts::{Weight, Widths};

/// A stretch of a line in one weight.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Piece {
    pub(super) text: String,
    pub(super) weight: Weight,
    /// How far from the start of the line it begins.
    pub(super) x: f32,
    pub(super) width: f32,
}

/// A line of text.
pub(super) type Line = Vec<Piece>;

/// How wide a line is.
pub(super) fn width_of(line: &Line) -> f32 {
    line.last().map_or(0.0, |piece| piece.x + piece.width)
}

/// The lines of a text in a column of this width. A word that is wider has lines of its own. Every line but the last
/// ends with the space at which it was broken, so that the words stay apart wherever the text is copied to.
pub(super) fn lines_of(runs: &[Run], column: f32, size: f32, widths: &Widths) -> Vec<Line> {
    let of = |text: &str, weight| widths.of(text, weight, size);
    let space = of(" ", Weight::Regular);
    let mut lines = vec![Line::new()];
    let mut reached = 0.0;
    for word in words_of(runs, column, size, widths) {
        let width: f32 = word.iter().map(|(text, weight)| of(text, *weight)).sum();
        let line = lines.last_mut().expect("there is always a last line");
        let starts = line.is_empty();
        if let Some(last) = line.last_mut() {
            last.text.push(' ');
            last.width += space;
        }
        if !starts && reached + space + width > column {
            lines.push(Line::new());
            reached = 0.0;
        } else if !starts {
            reached += space;
        }
        let line = lines.last_mut().expect("there is always a last line");
        for (text, weight) in word {
            let width = of(&text, weight);
            match line.last_mut().filter(|piece| piece.weight == weight) {
                Some(piece) => {
                    piece.text.push_str(&text);
                    piece.width += width;
                }
                None => line.push(Piece {
                    text,
                    weight,
                    x: reached,
                    width,
                }),
            }
            reached += width;
        }
    }
    lines
}

/// The same of a text in one weight.
pub(super) fn plain_lines(
    text: &str,
    bold: bool,
    column: f32,
    size: f32,
    widths: &Widths,
) -> Vec<Line> {
    let run = Run {
        text: text.to_owned(),
        bold,
    };
    lines_of(&[run], column, size, widths)
}

/// The words of a text, each in pieces of one weight; what is wider than the column is cut up.
fn words_of(runs: &[Run], column: f32, size: f32, widths: &Widths) -> Vec<Vec<(String, Weight)>> {
    let mut words: Vec<Vec<(String, Weight)>> = vec![Vec::new()];
    for run in runs {
        let weight = match run.bold {
            true => Weight::Bold,
            false => Weight::Regular,
        };
        for (place, part) in widths.shown(&run.text).split(' ').enumerate() {
            if place > 0 {
                words.push(Vec::new());
            }
            let mut rest = String::new();
            for c in part.chars() {
                rest.push(c);
                if rest.chars().count() > 1 && widths.of(&rest, weight, size) > column {
                    rest.pop();
                    let whole = std::mem::replace(&mut rest, c.to_string());
                    let last = words.last_mut().expect("there is always a last word");
                    last.push((whole, weight));
                    words.push(Vec::new());
                }
            }
            if !rest.is_empty() {
                let last = words.last_mut().expect("there is always a last word");
                last.push((rest, weight));
            }
        }
    }
    words.retain(|word| !word.is_empty());
    words
}

#[cfg(test)]
mod tests {
    use super::super::content::{bold, plain};
    use super::*;

    fn said(lines: &[Line]) -> Vec<String> {
        let lines = lines.iter();
        lines
            .map(|line| line.iter().map(|piece| piece.text.as_str()).collect())
            .collect()
    }

    #[test]
    fn lines_keep_to_the_column_and_lose_no_word() {
        let widths = Widths::new();
        let runs = [
            bold("Brown:"),
            plain(" 4 of 6 fields at threshold, and so on,"),
            bold(" or not"),
        ];
        for column in [60.0, 90.0, 400.0] {
            let lines = lines_of(&runs, column, 9.0, &widths);
            let all = said(&lines).concat();
            assert_eq!(all, "Brown: 4 of 6 fields at threshold, and so on, or not");
            for line in &lines {
                let text: String = line.iter().map(|piece| piece.text.as_str()).collect();
                let trailing = match text.ends_with(' ') {
                    true => widths.of(" ", Weight::Regular, 9.0),
                    false => 0.0,
                };
                assert!(width_of(line) - trailing <= column + 0.01, "{text}");
            }
        }
    }

    #[test]
    fn a_word_wider_than_the_column_is_cut_up_and_weights_meet_without_a_space() {
        let widths = Widths::new();
        let long = "n".repeat(300);
        let lines = plain_lines(&long, false, 100.0, 10.0, &widths);
        assert!(lines.len() > 10 && said(&lines).concat().replace(' ', "") == long);
        let lines = lines_of(&[bold("a"), plain("b c")], 100.0, 10.0, &widths);
        assert_eq!((lines.len(), lines[0].len()), (1, 2));
        assert_eq!(lines[0][1].x, widths.of("a", Weight::Bold, 10.0));
        assert!(plain_lines("", false, 100.0, 10.0, &widths)[0].is_empty());
    }
}
