//! The alert as PDF: the pages that were laid out, with the fonts embedded, tagged for programs that read aloud, as PDF/UA-1
//! (ISO 14289-1) asks. It bears no time of its own, so that the same alert gives the same bytes.

use std::collections::BTreeSet;

use askama::filters::{Html, escape};
use pdf_writer::types::TabOrder;
use pdf_writer::{Content as Operations, Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr};

use super::content::Content;
use super::layout::{Drawn, FOOT, Ink, MARGIN, Mark, PAGE, Paper, SOFT, laid_out};
use super::lines::{plain_lines, width_of};
use super::map_picture::Pictures;
use super::pdf_fonts::{codes_of, names_of, write_font};
use super::pdf_tags::{Marked, Place, tag_of, write_tags};
use super::png::compressed;
use crate::shared::fonts::{Weight, Widths};
use scouting::failure::Failure;

/// Pixels of the map to a point of paper: 216 to the inch.
const PIXELS: f32 = 3.0;
const LANGUAGE: &str = "en-US";
/// The map in the pages.
const MAP: Name<'static> = Name(b"Map");

/// The PDF of an alert.
///
/// # Errors
/// A [`Failure`] if the map cannot be drawn.
pub(super) fn alert_pdf(
    content: &Content,
    pictures: &Pictures,
    widths: &Widths,
) -> Result<Vec<u8>, Failure> {
    let mut paper = laid_out(content, widths);
    add_feet(&mut paper, content, widths);
    let mut pdf = Pdf::new();
    pdf.set_version(1, 7);
    let mut last = 0;
    let mut next = move || {
        last += 1;
        Ref::new(last)
    };
    let [catalog, tree, about, xmp, map, outline] = std::array::from_fn(|_| next());
    let pages: Vec<Ref> = paper.pages.iter().map(|_| next()).collect();

    let letters = letters_of(&paper);
    let [regular, bold] = [Weight::Regular, Weight::Bold]
        .map(|weight| write_font(&mut pdf, weight, &letters, widths, &mut next));
    let mut figure = [0.0; 4];
    let mut places: Vec<Vec<Place>> = vec![Vec::new(); paper.parts.len()];
    let mut on_pages = Vec::new();
    for (number, marks) in paper.pages.iter().enumerate() {
        let contents = next();
        let mut page = pdf.page(pages[number]);
        page.parent(tree)
            .media_box(Rect::new(0.0, 0.0, PAGE[0], PAGE[1]))
            .contents(contents)
            .struct_parents(number as i32)
            .tab_order(TabOrder::StructureOrder);
        let mut resources = page.resources();
        let mut fonts = resources.fonts();
        fonts.pair(names_of(Weight::Regular).0, regular);
        fonts.pair(names_of(Weight::Bold).0, bold);
        fonts.finish();
        resources.x_objects().pair(MAP, map);
        resources.finish();
        page.finish();
        let mut operations = Operations::new();
        let mut of_marks = Vec::new();
        // What is of one part and comes together is one mark.
        for marks in marks.chunk_by(|one, next| one.part == next.part) {
            match marks[0].part {
                Some(part) => {
                    let mark = of_marks.len() as i32;
                    places[part].push((number, mark));
                    of_marks.push(part);
                    operations
                        .begin_marked_content_with_properties(tag_of(&paper.parts[part].role))
                        .properties()
                        .identify(mark);
                }
                None => {
                    operations.begin_marked_content(Name(b"Artifact"));
                }
            }
            for drawn in marks {
                draw(&mut operations, drawn);
            }
            operations.end_marked_content();
        }
        let packed = compressed(&operations.finish());
        pdf.stream(contents, &packed).filter(Filter::FlateDecode);
        on_pages.push(of_marks);
    }
    for drawn in paper.pages.iter().flatten() {
        if let Mark::Picture { frame, svg } = &drawn.mark {
            let [x, y, wide, high] = *frame;
            figure = [x, PAGE[1] - y - high, x + wide, PAGE[1] - y];
            write_map(&mut pdf, map, pictures, svg)?;
        }
    }
    let marked = Marked {
        parts: &paper.parts,
        places: &places,
        on_pages: &on_pages,
        pages: &pages,
        figure,
    };
    let tags = write_tags(&mut pdf, &marked, &mut next);
    write_outline(&mut pdf, outline, &paper, &pages, &mut next);
    let mut all = pdf.pages(tree);
    all.count(pages.len() as i32).kids(pages.iter().copied());
    all.finish();
    let title = widths.shown(&format!(
        "{} – {}, {}",
        content.headline, content.subject, content.week
    ));
    pdf.document_info(about)
        .title(TextStr(&title))
        .creator(TextStr(&content.program));
    pdf.metadata(xmp, metadata(&title, &content.program).as_bytes());
    let mut top = pdf.catalog(catalog);
    top.pages(tree)
        .outlines(outline)
        .metadata(xmp)
        .lang(TextStr(LANGUAGE));
    top.pair(Name(b"StructTreeRoot"), tags);
    top.mark_info().marked(true);
    top.viewer_preferences().display_doc_title(true);
    top.finish();
    Ok(pdf.finish())
}

/// Pest, week and page at the foot of every page.
fn add_feet(paper: &mut Paper, content: &Content, widths: &Widths) {
    const SIZE: f32 = 7.5;
    let pages = paper.pages.len();
    for (place, page) in paper.pages.iter_mut().enumerate() {
        let foot = format!(
            "{}, {} · page {} of {pages}",
            content.subject,
            content.week,
            place + 1
        );
        let lines = plain_lines(&foot, false, PAGE[0] - 2.0 * MARGIN, SIZE, widths);
        for (place, line) in lines.iter().take(2).enumerate() {
            let x = (PAGE[0] - width_of(line)) / 2.0;
            page.extend(line.iter().map(|piece| Drawn {
                mark: Mark::Text {
                    at: [x + piece.x, FOOT + place as f32 * (SIZE + 1.5)],
                    size: SIZE,
                    weight: piece.weight,
                    ink: SOFT,
                    text: piece.text.clone(),
                },
                part: None,
            }));
        }
    }
}

fn letters_of(paper: &Paper) -> BTreeSet<char> {
    let marks = paper.pages.iter().flatten();
    let texts = marks.filter_map(|drawn| match &drawn.mark {
        Mark::Text { text, .. } => Some(text.chars()),
        _ => None,
    });
    texts.flatten().collect()
}

/// Draws a mark. On paper of this format heights are counted from the foot.
fn draw(operations: &mut Operations, drawn: &Drawn) {
    let paint = |operations: &mut Operations, ink: &Ink| {
        let [red, green, blue] = ink.map(|part| f32::from(part) / 255.0);
        operations.set_fill_rgb(red, green, blue);
    };
    match &drawn.mark {
        Mark::Text {
            at: [x, y],
            size,
            weight,
            ink,
            text,
        } => {
            paint(operations, ink);
            operations
                .begin_text()
                .set_font(names_of(*weight).0, *size)
                .next_line(*x, PAGE[1] - y)
                .show(Str(&codes_of(text)))
                .end_text();
        }
        Mark::Fill {
            frame: [x, y, wide, high],
            ink,
        } => {
            paint(operations, ink);
            operations
                .rect(*x, PAGE[1] - y - high, *wide, *high)
                .fill_nonzero();
        }
        Mark::Picture {
            frame: [x, y, wide, high],
            ..
        } => {
            operations
                .save_state()
                .transform([*wide, 0.0, 0.0, *high, *x, PAGE[1] - y - high])
                .x_object(MAP)
                .restore_state();
        }
    }
}

fn write_map(pdf: &mut Pdf, map: Ref, pictures: &Pictures, svg: &str) -> Result<(), Failure> {
    let pixels = pictures.painted(svg, PIXELS)?;
    let packed = compressed(&pixels.bytes);
    let mut image = pdf.image_xobject(map, &packed);
    image
        .width(pixels.width as i32)
        .height(pixels.height as i32)
        .bits_per_component(8)
        .filter(Filter::FlateDecode);
    image.color_space().device_rgb();
    image.finish();
    Ok(())
}

fn write_outline(
    pdf: &mut Pdf,
    outline: Ref,
    paper: &Paper,
    pages: &[Ref],
    mut next: impl FnMut() -> Ref,
) {
    let refs: Vec<Ref> = paper.outline.iter().map(|_| next()).collect();
    if let (Some(first), Some(last)) = (refs.first(), refs.last()) {
        pdf.outline(outline)
            .first(*first)
            .last(*last)
            .count(refs.len() as i32);
    }
    for (place, (heading, page, y)) in paper.outline.iter().enumerate() {
        let mut item = pdf.outline_item(refs[place]);
        item.title(TextStr(heading)).parent(outline);
        if let Some(before) = place.checked_sub(1) {
            item.prev(refs[before]);
        }
        if let Some(after) = refs.get(place + 1) {
            item.next(*after);
        }
        item.dest()
            .page(pages[*page])
            .xyz(MARGIN, PAGE[1] - y, None);
    }
}

/// What the file says of itself (ISO 16684-1), with the mark of PDF/UA-1.
fn metadata(title: &str, program: &str) -> String {
    let safe = |text: &str| match escape(text, Html) {
        Ok(safe) => safe.to_string(),
        Err(never) => match never {},
    };
    format!(
        "<?xpacket begin=\"\u{feff}\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n\
         <x:xmpmeta xmlns:x=\"adobe:ns:meta/\"><rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\
         <rdf:Description rdf:about=\"\" xmlns:dc=\"http://purl.org/dc/elements/1.1/\" xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\" \
         xmlns:pdfuaid=\"http://www.aiim.org/pdfua/ns/id/\">\
         <dc:title><rdf:Alt><rdf:li xml:lang=\"x-default\">{}</rdf:li></rdf:Alt></dc:title>\
         <dc:language><rdf:Bag><rdf:li>{LANGUAGE}</rdf:li></rdf:Bag></dc:language>\
         <xmp:CreatorTool>{}</xmp:CreatorTool><pdfuaid:part>1</pdfuaid:part>\
         </rdf:Description></rdf:RDF></x:xmpmeta>\n<?xpacket end=\"r\"?>",
        safe(title),
        safe(program)
    )
}
