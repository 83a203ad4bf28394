//! The two fonts in a PDF. A letter's code is its Unicode number, so that whoever reads the file, a person's program or the gate,
//! has the words as they are; a table leads from the number to the glyph.

use std::collections::BTreeSet;

use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Filter, Finish, Name, Pdf, Rect, Ref, Str};

use super::png::compressed;
use crate::shared::fonts::{Weight, Widths};

/// What a font is called in the pages, and in the file. The six letters say that it is a part of a font.
pub(super) fn names_of(weight: Weight) -> (Name<'static>, Name<'static>) {
    match weight {
        Weight::Regular => (Name(b"R"), Name(b"BRCTLN+NotoSans-Regular")),
        Weight::Bold => (Name(b"B"), Name(b"BRCTLN+NotoSans-Bold")),
    }
}

/// A text as its codes.
pub(super) fn codes_of(text: &str) -> Vec<u8> {
    text.encode_utf16().flat_map(u16::to_be_bytes).collect()
}

/// Writes a font for these letters; `next` gives numbers of objects.
pub(super) fn write_font(
    pdf: &mut Pdf,
    weight: Weight,
    letters: &BTreeSet<char>,
    widths: &Widths,
    mut next: impl FnMut() -> Ref,
) -> Ref {
    let (_, name) = names_of(weight);
    let adobe = |ordering: &'static [u8]| SystemInfo {
        registry: Str(b"Adobe"),
        ordering: Str(ordering),
        supplement: 0,
    };
    let [font, cid, descriptor, file, to_unicode, to_glyph] = std::array::from_fn(|_| next());
    pdf.type0_font(font)
        .base_font(name)
        .encoding_predefined(Name(b"Identity-H"))
        .descendant_font(cid)
        .to_unicode(to_unicode);
    let coded: Vec<(u16, char, u16, f32)> = letters
        .iter()
        .filter_map(|&c| {
            let (glyph, wide) = widths.glyph(c, weight)?;
            Some((u16::try_from(u32::from(c)).ok()?, c, glyph, wide))
        })
        .collect();

    let mut of_cid = pdf.cid_font(cid);
    of_cid
        .subtype(CidFontType::Type2)
        .base_font(name)
        .system_info(adobe(b"Identity"))
        .font_descriptor(descriptor)
        .default_width(0.0)
        .cid_to_gid_map_stream(to_glyph);
    let mut said = of_cid.widths();
    for (code, _, _, wide) in &coded {
        said.consecutive(*code, [wide * 1000.0]);
    }
    said.finish();
    of_cid.finish();

    let (bounds, capitals) = widths.bounds(weight);
    let [left, bottom, right, top] = bounds.map(|side| side * 1000.0);
    pdf.font_descriptor(descriptor)
        .name(name)
        .flags(FontFlags::SYMBOLIC)
        .bbox(Rect::new(left, bottom, right, top))
        .italic_angle(0.0)
        .ascent(top)
        .descent(bottom)
        .cap_height(capitals * 1000.0)
        // The width of upright stems is asked for and not in the font file; from memory.
        .stem_v(if weight == Weight::Bold { 140.0 } else { 80.0 })
        .font_file2(file);
    let bytes = weight.bytes();
    let packed = compressed(bytes);
    let mut stream = pdf.stream(file, &packed);
    stream.filter(Filter::FlateDecode);
    stream.pair(Name(b"Length1"), bytes.len() as i32);
    stream.finish();

    let mut cmap = UnicodeCmap::new(Name(b"Codes"), adobe(b"UCS"));
    let mut glyphs = Vec::new();
    for (code, c, glyph, _) in coded {
        cmap.pair(code, c);
        glyphs.resize(2 * usize::from(code), 0);
        glyphs.extend(glyph.to_be_bytes());
    }
    pdf.cmap(to_unicode, &cmap.finish());
    let packed = compressed(&glyphs);
    pdf.stream(to_glyph, &packed).filter(Filter::FlateDecode);
    font
}
