//! The alert in forms to paste and to send: the same bytes twice, every row and caution in them, short enough, and nothing
//! that a mail program fetches or drops.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Read;

use bractline::alert::bulletin::{Bulletin, ProtocolFacts, ThresholdBasis};
use bractline::alert::note::rendered::Note;
use bractline::alert::page::handout::files::handout_files;
use bractline::alert::page::html::alert_html;
use bractline::gate::pdf_words::words_of_pdf;
use bractline::shared::classes::Class;
use disclosure::place::Place;
use disclosure::public_row::PublicRow;
use scouting::region::Region;

use crate::support::publish::{bulletin, protocol};
use crate::support::week_rows::{
    NAMES, NOTICE, between, elsewhere, region, region_named, shown, week,
};

mod short;

type Files = BTreeMap<&'static str, Vec<u8>>;

fn files_of(bulletin: &Bulletin) -> Files {
    let files = handout_files(bulletin).expect("files to paste");
    files.into_iter().collect()
}

fn text(files: &Files, name: &str) -> String {
    String::from_utf8(files[name].clone()).expect("UTF-8")
}

/// The words of the PDF, with one space between two.
fn pdf_words(files: &Files) -> String {
    one_spaced(&words_of_pdf(&files["alert.pdf"]).expect("a PDF"))
}

fn one_spaced(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The words of the e-mail without its tags.
fn words_of_email(files: &Files) -> String {
    let html = text(files, "email.html");
    let pieces = html.split('<').map(|piece| match piece.split_once('>') {
        Some((tag, words)) if ["strong", "/strong"].contains(&tag) => words.to_owned(),
        Some((_, words)) => format!(" {words}"),
        None => String::new(),
    });
    let words = one_spaced(&pieces.collect::<String>());
    [
        ("&#38;", "&"),
        ("&#39;", "'"),
        ("&#34;", "\""),
        ("&#60;", "<"),
        ("&#62;", ">"),
    ]
    .into_iter()
    .fold(words, |words, (code, letter)| words.replace(code, letter))
}

/// A trap protocol, whose counts decide nothing for a field.
fn traps() -> ProtocolFacts {
    ProtocolFacts {
        title: "Sunflower moth, adults in traps".to_owned(),
        threshold_name: "action threshold".to_owned(),
        threshold_basis: ThresholdBasis::Scouting,
        treatment_stage: None,
        next_step: Some("scout plants for larvae".to_owned()),
        ..protocol()
    }
}

/// The region of all counties of South Dakota, each with a row.
fn sixty_six() -> (Region, Vec<PublicRow>) {
    let region = Region::built_in("us:46").expect("South Dakota");
    let rows = region
        .counties()
        .iter()
        .enumerate()
        .map(|(place, county)| PublicRow {
            place: Place::County(county.id.clone()),
            ..shown(
                0,
                5 + place as u32 % 9,
                place as u32 % 4,
                0.3 * (place % 7) as f64,
                2.5,
            )
        });
    let rows = rows.collect();
    (region, rows)
}

#[test]
fn the_same_alert_gives_the_same_bytes_without_a_time_of_its_own() {
    let (region, rows, facts) = (region(), week(), protocol());
    let bulletin = bulletin(&region, &rows, None, &facts);
    let (once, again) = (files_of(&bulletin), files_of(&bulletin));
    assert_eq!(once.len(), 5);
    assert!(once == again, "another file");
    let pdf = String::from_utf8_lossy(&once["alert.pdf"]).into_owned();
    for word in ["CreationDate", "CreateDate", "ModifyDate"] {
        assert!(!pdf.contains(word), "{word}");
    }
}

#[test]
fn pdf_and_email_have_every_row_and_caution_of_the_page() {
    let (region, mut rows, facts) = (region(), week(), protocol());
    rows.push(elsewhere(shown(0, 6, 2, 0.6, 1.2)));
    let before = [shown(1, 7, 2, 0.6, 1.2)];
    let note = Note::read("Watch the **edges** this week.\n\n- first\n- second").expect("a note");
    let mut bulletin = bulletin(&region, &rows, Some(&before), &facts);
    bulletin.note = Some(&note);
    bulletin.contact = "The Office, desk@example.org";
    let files = files_of(&bulletin);
    let page = alert_html(&bulletin).expect("a page");
    let (_, of_cautions) = page.split_once("id=\"cautions\"").expect("the cautions");
    let cautions: Vec<&str> = of_cautions
        .split("<li><strong>")
        .skip(1)
        .filter_map(|item| Some(item.split_once("</strong>")?.0))
        .collect();
    assert!(cautions.len() > 8, "{cautions:?}");
    let headline = between(&page, "<h1>", "</h1>");
    for (name, words) in [
        ("pdf", pdf_words(&files)),
        ("email", words_of_email(&files)),
    ] {
        for caution in &cautions {
            assert!(words.contains(caution), "{name}: {caution}");
        }
        for said in [
            headline,
            NOTICE,
            "2 Bergamot 7 4 of 7",
            "11 Kestrel 4 none of 4",
            "12 Larkspur 3 1 or more of 3",
            "8 Hazel all fields at another crop stage 4",
            "elsewhere in the region 6 2 of 6",
            "The six-bract count replaces no look at the larvae.",
            "Treatment is timed to R5.1, not to the day when eggs are found.",
            "Eggs hatch in five to eight days.",
            "Watch the edges this week.",
            "County figures are not a treatment recommendation.",
            "95% Wilson score interval",
            "The Office, desk@example.org",
            "Dogwood, Nettle, Oxbow and Prairie Clover",
        ] {
            assert!(words.contains(&one_spaced(said)), "{name}: {said}\n{words}");
        }
    }
}

#[test]
fn sixteen_counties_have_two_pages_and_the_fonts_are_in_the_file() {
    let (region, rows, facts) = (region(), week(), protocol());
    let pages = |region: &Region, rows: &[PublicRow]| {
        let files = files_of(&bulletin(region, rows, None, &facts));
        let pdf = &files["alert.pdf"];
        let count = |name: &str| {
            pdf.windows(name.len())
                .filter(|part| *part == name.as_bytes())
                .count()
        };
        assert_eq!(count("/FontFile2"), 2);
        assert!(pdf.len() < 400_000, "{}", pdf.len());
        count("/StructParents")
    };
    assert_eq!(pages(&region, &rows), 2);
    let (region, rows) = sixty_six();
    assert!(pages(&region, &rows) <= 4);
}

/// Gmail shows no more than 102 kB of a mail; the most that a survey of a state has, and a margin.
#[test]
fn an_email_of_sixty_six_counties_is_not_clipped() {
    let (region, rows) = sixty_six();
    let facts = protocol();
    let files = files_of(&bulletin(&region, &rows, Some(&rows), &facts));
    let size = files["email.html"].len();
    assert!(size < 100_000, "{size}");
    assert!(words_of_email(&files).contains("Ziebach"));
}

/// What mail programs keep of a mail's style: as caniemail.com lists it for Gmail, Outlook and Apple Mail (open data; the
/// second tier asks the data themselves).
const KEPT: [&str; 19] = [
    "background-color",
    "border-bottom",
    "border-collapse",
    "color",
    "font",
    "font-family",
    "font-size",
    "font-weight",
    "line-height",
    "margin",
    "max-width",
    "padding",
    "text-align",
    "width",
    "height",
    "vertical-align",
    "border",
    "border-top",
    "text-decoration",
];

#[test]
fn an_email_has_its_style_in_its_elements_and_fetches_nothing() {
    let (region, rows, facts) = (region(), week(), protocol());
    let html = text(
        &files_of(&bulletin(&region, &rows, None, &facts)),
        "email.html",
    );
    for piece in [
        "<style", "<script", "<img", "<link", "src=", "url(", "class=", "id=", "<form", "@media",
    ] {
        assert!(!html.contains(piece), "{piece}");
    }
    let tags: BTreeSet<&str> = html
        .split('<')
        .skip(1)
        .filter_map(|tag| tag.split([' ', '>', '\n']).next())
        .filter(|tag| !tag.starts_with(['/', '!']))
        .collect();
    let plain = "body h1 h2 h3 head html li meta p strong table td th title tr ul";
    let plain: BTreeSet<&str> = plain.split(' ').collect();
    assert!(tags.is_subset(&plain), "{tags:?}");
    let styles = html.split("style=\"").skip(1);
    let properties: BTreeSet<&str> = styles
        .filter_map(|style| style.split('"').next())
        .flat_map(|style| style.split(';'))
        .filter_map(|rule| Some(rule.split_once(':')?.0.trim()))
        .collect();
    let other: Vec<_> = properties
        .iter()
        .filter(|name| !KEPT.contains(name))
        .collect();
    assert!(properties.len() > 5 && other.is_empty(), "{other:?}");
    assert!(html.contains("max-width:600px"));
}

/// The picture of the map: width, height, and the colors of its pixels, by a reader of PNG that shares no code with its writer
/// but the packing.
fn colors(files: &Files) -> ([usize; 2], BTreeSet<[u8; 3]>) {
    let file = &files["map.png"];
    let side = |at: usize| {
        u32::from_be_bytes([file[at], file[at + 1], file[at + 2], file[at + 3]]) as usize
    };
    let [width, height] = [side(16), side(20)];
    // Eight bits, three colors.
    assert_eq!(file[24..26], [8, 2]);
    let data = file
        .windows(4)
        .position(|kind| kind == b"IDAT")
        .expect("pixels")
        + 4;
    let mut rows = Vec::new();
    flate2::read::ZlibDecoder::new(&file[data..])
        .read_to_end(&mut rows)
        .expect("whole");
    let mut above = vec![0_u8; width * 3];
    let mut colors = BTreeSet::new();
    for row in rows.chunks_exact(width * 3 + 1) {
        assert_eq!(row[0], 2);
        for (byte, before) in row[1..].iter().zip(&mut above) {
            *before = before.wrapping_add(*byte);
        }
        colors.extend(
            above
                .chunks_exact(3)
                .map(|pixel| [pixel[0], pixel[1], pixel[2]]),
        );
    }
    assert_eq!(rows.len(), (width * 3 + 1) * height);
    ([width, height], colors)
}

#[test]
fn the_picture_of_the_map_has_the_color_of_every_class_with_a_county() {
    let (region, facts) = (region(), protocol());
    // No notice band in the colors of a class.
    for rows in [week(), vec![], vec![shown(0, 9, 2, 1.2, 1.6)]] {
        let files = files_of(&bulletin(&region, &rows, None, &facts));
        let ([width, height], colors) = colors(&files);
        assert_eq!(width, 1200);
        assert!((700..2400).contains(&height), "{height}");
        let classes = region.counties().iter().map(|county| {
            let of_county = |row: &&PublicRow| row.place.county() == Some(&*county.id);
            Class::of(rows.iter().find(of_county))
        });
        for class in classes.collect::<Vec<_>>() {
            let Some(band) = class.band() else { continue };
            let hex =
                |place: usize| u8::from_str_radix(&band.fill[place..place + 2], 16).expect("hex");
            let color = [hex(1), hex(3), hex(5)];
            assert!(colors.contains(&color), "{}", band.fill);
        }
    }
    // The map of a week without rows has less on it.
    let of = |rows: &[PublicRow]| {
        colors(&files_of(&bulletin(&region, rows, None, &facts)))
            .1
            .len()
    };
    assert!(of(&week()) > of(&[]));
}

#[test]
fn the_drawing_of_the_map_needs_no_other_file_and_says_what_it_is() {
    let (region, rows, facts) = (region(), week(), protocol());
    let files = files_of(&bulletin(&region, &rows, None, &facts));
    let svg = text(&files, "map.svg");
    for address in svg.split("http").skip(1) {
        assert!(address.starts_with("://www.w3.org/"), "{}", &address[..40]);
    }
    for piece in svg.split("url(").skip(1) {
        assert!(piece.starts_with('#'), "{}", &piece[..20]);
    }
    for word in ["<image", "href", "<script", "<style", "class=\"c", "var("] {
        assert!(!svg.contains(word), "{word}");
    }
    let words = one_spaced(&svg.replace('<', " <"));
    for said in [
        "2 Bergamot: 4 of 7",
        "not a treatment",
        "preliminary",
        "draft",
        "Banded sunflower moth, eggs on bracts",
    ] {
        assert!(words.contains(said), "{said}");
    }
}

#[test]
fn a_trap_count_speaks_of_sites_and_no_threshold() {
    let (region, rows, facts) = (region(), week(), traps());
    let bulletin = bulletin(&region, &rows, None, &facts);
    let said = short::short(&bulletin);
    assert!(
        said.contains("survey sites at the risk level in 7 of 11 counties"),
        "{said}"
    );
    let files = files_of(&bulletin);
    for words in [pdf_words(&files), words_of_email(&files)] {
        assert!(
            words.contains("What to do next: scout plants for larvae"),
            "{words}"
        );
        assert!(!words.contains("at threshold"), "{words}");
    }
}

/// Words that no font of the program has are shown as missing, and the PDF is still one.
#[test]
fn names_in_other_scripts_are_shown_as_missing_and_break_nothing() {
    let mut names = NAMES;
    (names[0], names[1]) = ("\u{5d0}\u{5d1}", "向日葵 <b> & \u{1f33b}");
    let region = region_named(&names);
    let facts = protocol();
    let files = files_of(&bulletin(&region, &week(), None, &facts));
    assert!(pdf_words(&files).contains("\u{fffd}\u{fffd}\u{fffd} <b> & \u{fffd}"));
    assert!(text(&files, "email.html").contains("向日葵 &#60;b&#62; &#38; \u{1f33b}"));
    colors(&files);
}

// ---- the page's head ----

#[test]
fn the_head_describes_the_page_and_has_a_picture_where_the_office_has_an_address() {
    let (region, rows) = (region(), week());
    let mut facts = protocol();
    facts.title = "A \"moth\" <b>".to_owned();
    let mut bulletin = bulletin(&region, &rows, None, &facts);
    let page = alert_html(&bulletin).expect("a page");
    let headline = between(&page, "<h1>", "</h1>");
    let title = between(&page, "<meta property=\"og:title\" content=\"", "\">");
    assert_eq!(title, headline);
    let said = between(&page, "<meta name=\"description\" content=\"", "\">");
    assert!(
        said.contains("A &#34;moth&#34; &#60;b&#62;, week ending July 26, 2026")
            && said.starts_with(headline),
        "{said}"
    );
    let said = between(&page, "<meta property=\"og:description\" content=\"", "\">");
    assert!(
        said.contains("County figures are not a treatment recommendation.")
            && said.contains("Invented data"),
        "{said}"
    );
    assert!(!page.contains("og:image") && !page.contains("og:url"));
    bulletin.public_folder = Some("https://example.org/a/0003/");
    let page = alert_html(&bulletin).expect("a page");
    for line in [
        "<meta property=\"og:url\" content=\"https://example.org/a/0003/alert.html\">",
        "<meta property=\"og:image\" content=\"https://example.org/a/0003/map.png\">",
    ] {
        assert!(page.contains(line), "{line}");
    }
}
