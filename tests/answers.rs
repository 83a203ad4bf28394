//! What an alert says at its top: the three answers, the headline of the first weeks, and the office's face.

use bractline::alert::page::html::alert_html;
use bractline::alert::page::text::alert_markdown;
use bractline::figures::office::Office;
use disclosure::public_row::PublicRow;
use disclosure::stage_groups::StageFields;

use crate::support::publish::{NO_OFFICE, bulletin, protocol};
use crate::support::week_rows::{between, elsewhere, other_stage, region, shown, week};

/// Where, how sure, and what to do now.
pub fn answers(page: &str) -> Vec<String> {
    let said = page.split("<section class=\"answer").skip(1);
    said.map(|section| {
        between(section, "<p>", "</p>")
            .replace('\u{a0}', " ")
            .replace("&#39;", "'")
    })
    .collect()
}

#[test]
fn the_three_answers_name_the_counties_that_the_headline_counts_and_the_map_outlines() {
    let mut rows = week();
    for place in [1, 4] {
        rows[place].treatment_weeks = Some(["2026-W31".to_owned(), "2026-W32".to_owned()]);
        rows[place].window_basis = Some("days".to_owned());
    }
    let facts = protocol();
    let region = region();
    let mut bulletin = bulletin(&region, &rows, None, &facts);
    bulletin.contact = "Office of the Plain, 605 555 0100";
    bulletin.arrived = Some("About half of this week's reports are in.");
    let page = alert_html(&bulletin).expect("a page");
    assert_eq!(
        answers(&page),
        [
            "Fields at threshold: Foxglove 9 of 14, Juniper 6 of 11, Bergamot 4 of 7 and 4 more counties.",
            "85 fields in 11 of 16 counties, not a random sample; no conclusion for the others. In Foxglove, 9 of 14 could mean \
             39–84% (95% confidence interval). About half of this week's reports are in.",
            "Scout your own sunflower fields at R2–R3 before July 27, first in these counties. Fields shown reach R5.1 in the weeks of July 27 – August 9, 2026: consider treatment then only if your own field is \
             at or above its own economic injury level. <a href=\"#cautions\">See the cautions.</a> <strong>Questions:</strong> \
             Office of the Plain, 605 555 0100.",
        ]
    );
    let outlined = page
        .matches("stroke=\"#000\" stroke-width=\"3\"><title>")
        .count();
    assert!(between(&page, "<h1>", "</h1>").contains(&format!("in {outlined} of the 11 counties")));
    let text = alert_markdown(&bulletin)
        .expect("a text")
        .replace('\n', " ");
    for says in [
        "**Where.** Fields at threshold",
        "**How sure.** 85 fields",
        "**What to do now.** Scout",
    ] {
        assert!(text.contains(says), "{says}: {text}");
    }
}

#[test]
fn in_the_first_weeks_the_headline_says_that_no_field_is_at_the_stages_yet() {
    let at = |place, stages: &[(&str, i32, u32)]| PublicRow {
        stages: stages
            .iter()
            .map(|&(crop_stage, place, fields)| StageFields {
                crop_stage: crop_stage.to_owned(),
                place,
                fields,
                in_window: false,
            })
            .collect(),
        ..other_stage(place, stages.iter().map(|stage| stage.2).sum())
    };
    let (v, r1) = (("V", -1, 20), ("R1", 1010, 9));
    for (rows, says) in [
        (
            vec![at(0, &[v]), elsewhere(at(1, &[v]))],
            "All 40 fields reported are still vegetative; counts start at R2",
        ),
        (
            vec![at(0, &[v, r1]), at(1, &[v])],
            "All 49 fields reported are still before R2 (V 40 and R1 9); counts start at R2",
        ),
        // One group may be past the stages of the count.
        (
            vec![at(0, &[v]), at(1, &[("R1–R4", 1010, 5)])],
            "Every field reported was at a crop stage at which this count is not valid",
        ),
        // A field was counted.
        (
            vec![at(0, &[v]), shown(1, 5, 0, 0.1, 0.2)],
            "No field at threshold in Bergamot, the only county with enough sampled fields to report",
        ),
    ] {
        let page = alert_html(&bulletin(&region(), &rows, None, &protocol())).expect("a page");
        assert_eq!(between(&page, "<h1>", "</h1>"), says);
    }
}

#[test]
fn the_office_is_at_the_top_and_its_logo_needs_no_request() {
    let facts = protocol();
    let (region, rows) = (region(), week());
    let mut bulletin = bulletin(&region, &rows, None, &facts);
    let office = Office {
        name: "Office of the <Plain>".to_owned(),
        contact: "605 555 0100".to_owned(),
        footer: "Invented & printed at the foot.".to_owned(),
        logo: Some("data:image/png;base64,iVBORw0KGgo=".to_owned()),
    };
    bulletin.office = &office;
    let page = alert_html(&bulletin).expect("a page");
    let head = between(&page, "<div class=\"masthead\">", "</div>");
    for says in [
        "<img src=\"data:image/png;base64,iVBORw0KGgo=\" alt=\"\"",
        "Office of the &#60;Plain&#62;",
        "605 555 0100",
    ] {
        assert!(head.contains(says), "{says}: {head}");
    }
    assert!(
        between(&page, "<footer>", "</footer>").contains("Invented &#38; printed at the foot.")
    );
    // Pictures come from the page itself, and only where there is one.
    assert!(page.contains("; img-src data:; base-uri 'none'"));
    bulletin.office = &NO_OFFICE;
    let page = alert_html(&bulletin).expect("a page");
    assert!(!page.contains("img-src") && !page.contains("<img"));
}
