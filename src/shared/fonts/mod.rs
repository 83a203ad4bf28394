//! The fonts of what the program draws itself, pictures and PDF, in the program, so that a machine without fonts draws the
//! same as any other; and how wide a text is in them.
//!
//! Noto Sans 2.015, SIL Open Font License 1.1 (`OFL.txt`, no reserved name), regular and bold. Each file is cut down to the
//! letters of Latin, Greek and Cyrillic with marks, figures, fractions and arrows of running text, without hints: by
//! fonttools' `pyftsubset` with the features kern, mark, mkmk, ccmp, locl and tnum; 98 kB instead of 630 kB each.

use ttf_parser::Face;
use unicode_normalization::UnicodeNormalization;

/// The name by which a drawing asks for them.
pub(crate) const FAMILY: &str = "Noto Sans";
/// What is shown in the place of a letter that the fonts do not have.
pub(crate) const MISSING: char = '\u{fffd}';

const REGULAR: &[u8] = include_bytes!("NotoSans-Regular.ttf");
const BOLD: &[u8] = include_bytes!("NotoSans-Bold.ttf");

/// One of the two fonts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Weight {
    Regular,
    Bold,
}

impl Weight {
    /// The font file.
    pub(crate) fn bytes(self) -> &'static [u8] {
        match self {
            Weight::Regular => REGULAR,
            Weight::Bold => BOLD,
        }
    }
}

/// The widths of both fonts.
pub(crate) struct Widths {
    regular: Face<'static>,
    bold: Face<'static>,
}

impl Widths {
    /// Reads the fonts of the program.
    pub(crate) fn new() -> Widths {
        let face = |weight: Weight| {
            Face::parse(weight.bytes(), 0).expect("the fonts in the program are whole")
        };
        Widths {
            regular: face(Weight::Regular),
            bold: face(Weight::Bold),
        }
    }

    fn face(&self, weight: Weight) -> &Face<'static> {
        match weight {
            Weight::Regular => &self.regular,
            Weight::Bold => &self.bold,
        }
    }

    /// How wide a text is at a size, without kerning.
    pub(crate) fn of(&self, text: &str, weight: Weight, size: f32) -> f32 {
        let advance = |c: char| Some(self.glyph(c, weight)?.1);
        text.chars().filter_map(advance).sum::<f32>() * size
    }

    /// The number of a letter's glyph, and how wide it is at size 1.
    pub(crate) fn glyph(&self, c: char, weight: Weight) -> Option<(u16, f32)> {
        let face = self.face(weight);
        let glyph = face.glyph_index(c)?;
        let wide = f32::from(face.glyph_hor_advance(glyph)?) / f32::from(face.units_per_em());
        Some((glyph.0, wide))
    }

    /// Bounds of all glyphs at size 1: left, bottom, right, top; then the height of capitals.
    pub(crate) fn bounds(&self, weight: Weight) -> ([f32; 4], f32) {
        let face = self.face(weight);
        let em = f32::from(face.units_per_em());
        let all = face.global_bounding_box();
        let bounds = [all.x_min, all.y_min, all.x_max, all.y_max].map(|side| f32::from(side) / em);
        let capitals = face.capital_height().unwrap_or_else(|| face.ascender());
        (bounds, f32::from(capitals) / em)
    }

    /// The text as the fonts can show it: composed, without what is not seen, and with [`MISSING`] for a letter that they do not
    /// have.
    pub(crate) fn shown(&self, text: &str) -> String {
        let has = |c: char| self.regular.glyph_index(c).is_some();
        text.nfc()
            .filter(|c| !super::unseen::is_unseen(*c))
            .map(|c| match has(c) {
                true => c,
                false if c.is_whitespace() => ' ',
                false => MISSING,
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fonts_have_what_the_program_says_and_wide_letters_are_wider() {
        let widths = Widths::new();
        let said = "Ångström Łódź Ñandú Ξ Дон 0–9 × ⅓ “95%” – · ± § …";
        assert_eq!(widths.shown(said), said);
        assert_eq!(
            widths.shown("a\u{2068}\u{5d0}\u{2069}b\u{202e}c"),
            "a\u{fffd}bc"
        );
        let of = |text| widths.of(text, Weight::Regular, 10.0);
        assert!(of("WWW") > of("iii") * 2.0 && of("") == 0.0);
        assert!(widths.of("WWW", Weight::Bold, 10.0) > of("WWW"));
        // Figures of one width, so that columns of numbers line up.
        assert_eq!(of("1111"), of("8888"));
    }
}
