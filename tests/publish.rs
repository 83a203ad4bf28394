//! The published files: true at the edges, and careful in what they claim.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use bractline::alert::page::html::alert_html;
use bractline::alert::page::text::alert_markdown;
use disclosure::place::Place;
use disclosure::public_row::PublicRow;
use sha2::{Digest, Sha256};

use crate::answers::answers;
use crate::support::publish::{bulletin, protocol};
use crate::support::snapshots::assert_text;
use crate::support::week_rows::{NOTICE, between, elsewhere, other_stage, region, shown, week};

fn page(rows: &[PublicRow]) -> String {
    page_with(rows, None)
}

fn page_with(rows: &[PublicRow], previous: Option<&[PublicRow]>) -> String {
    alert_html(&bulletin(&region(), rows, previous, &protocol())).expect("a page")
}

fn headline(rows: &[PublicRow]) -> String {
    between(&page(rows), "<h1>", "</h1>").to_owned()
}

fn paragraph(rows: &[PublicRow]) -> String {
    paragraph_with(rows, None)
}

fn paragraph_with(rows: &[PublicRow], previous: Option<&[PublicRow]>) -> String {
    let page = page_with(rows, previous);
    between(&page, "<p class=\"lead\">", "</p>")
        .replace('\u{a0}', " ")
        .replace("&#39;", "'")
}

// ---- the words ----

#[test]
fn the_headline_says_how_many_counties_and_no_more_than_is_known() {
    let found = |place| shown(place, 5, 0, 0.1, 0.2);
    let none = |place| shown(place, 5, 0, 0.0, 0.0);
    let at = |place| shown(place, 5, 2, 0.9, 1.2);
    for (rows, says) in [
        // Nobody scouted, or too few fields came in: the two look the same.
        (
            vec![],
            "No county has enough sampled fields to report this week",
        ),
        (
            vec![other_stage(0, 3)],
            "Every field reported was at a crop stage at which this count is not valid",
        ),
        (
            vec![elsewhere(shown(0, 6, 4, 1.2, 2.0))],
            "Fields at threshold: 4 of 6 elsewhere in the region",
        ),
        (
            vec![elsewhere(shown(0, 4, 0, 0.2, 0.3))],
            "No field at threshold among 4 fields in counties with too few to report alone",
        ),
        (
            vec![none(1)],
            "Nothing found in Bergamot, the only county with enough sampled fields to report",
        ),
        (
            vec![none(0), none(1)],
            "Nothing found in either of the 2 counties with enough sampled fields to report",
        ),
        (
            vec![none(0), none(1), none(2)],
            "Nothing found in any of the 3 counties with enough sampled fields to report",
        ),
        (
            vec![found(1)],
            "No field at threshold in Bergamot, the only county with enough sampled fields to report",
        ),
        (
            vec![found(0), none(1)],
            "No field at threshold in the 2 counties with enough sampled fields to report",
        ),
        (
            vec![at(1)],
            "Fields at threshold in Bergamot, the only county with enough sampled fields to report",
        ),
        (
            vec![shown(1, 5, 1, 0.9, 1.2)],
            "One field at threshold in Bergamot, the only county with enough sampled fields to report",
        ),
        // One or more of four is no "one field".
        (
            vec![shown(1, 4, 1, 0.9, 1.2)],
            "Fields at threshold in Bergamot, the only county with enough sampled fields to report",
        ),
        (
            vec![at(0), at(1)],
            "Fields at threshold in both counties with enough sampled fields to report",
        ),
        (
            vec![at(0), at(1), at(2)],
            "Fields at threshold in all 3 counties with enough sampled fields to report",
        ),
        (
            vec![at(0), found(1), none(2), other_stage(4, 3)],
            "Fields at threshold in 1 of the 3 counties with enough sampled fields to report",
        ),
    ] {
        assert_eq!(headline(&rows), says);
    }
}

#[test]
fn the_paragraph_of_a_full_week_reads_as_one_would_say_it() {
    let before = vec![
        shown(0, 5, 0, 0.1, 0.2),
        shown(1, 6, 1, 0.7, 1.1),
        shown(5, 6, 3, 1.1, 1.9),
        // Not shown this week, so it must not count.
        shown(3, 9, 9, 2.0, 3.0),
    ];
    let mut rows = week();
    rows.push(elsewhere(shown(0, 6, 5, 1.2, 1.4)));
    assert_eq!(
        paragraph_with(&rows, Some(&before)),
        "In the 11 counties with enough sampled fields to report, scouts sampled 85 fields at R2–R3; 26 to 28 of them \
         were at or above their own economic injury level. Pressure was highest in Foxglove with a median pressure of \
         1.5 to under 3: 9 of 14 fields at threshold (95% confidence interval 39 to 84%). Fields of counties with too few \
         to report alone are combined: 5 or more of 6 fields at threshold elsewhere in the region. Of the 3 \
         counties with figures in both weeks, 2 had fields at threshold last week; 2 do this week. In 1 county all \
         fields were at another crop stage. 4 counties have no figures: they were not visited, or had too few fields to \
         publish. No conclusion can be drawn there."
    );
    let mail =
        alert_markdown(&bulletin(&region(), &rows, Some(&before), &protocol())).expect("a text");
    assert_text("alert", &mail);
}

#[test]
fn the_paragraph_claims_less_where_fields_are_few() {
    let says = paragraph(&[shown(1, 3, 2, 1.2, 1.4)]);
    for part in [
        "In Bergamot, the only county with enough sampled fields to report, scouts sampled 3 fields",
        "1 to 3 of them were at or above",
        "That is based on only 3 fields, and the interval is wide",
        "use it to target scouting, not as a county estimate",
        "15 counties have no figures: they were not visited, or had too few fields to publish",
    ] {
        assert!(says.contains(part), "{part}: {says}");
    }
    let many = paragraph(&[shown(1, 60, 30, 1.2, 1.4)]);
    assert!(
        !many.contains("based on only") && !many.contains("wide"),
        "{many}"
    );
}

#[test]
fn nothing_found_is_not_said_to_prove_that_there_is_nothing() {
    let says = paragraph(&[shown(0, 9, 0, 0.0, 0.0), shown(1, 3, 0, 0.0, 0.0)]);
    assert!(
        says.contains("none of them was at or above its own economic injury level"),
        "{says}"
    );
    assert!(
        says.contains(
            "does not prove that there is none: with 3 fields sampled in Bergamot, up to 56% of fields there may be at \
             threshold (95% confidence interval)"
        ),
        "{says}"
    );
    assert!(!says.contains("highest"), "{says}");
}

#[test]
fn singular_and_plural_agree() {
    let one = paragraph(&[shown(1, 5, 1, 0.5, 1.5)]);
    assert!(one.contains("1 of them was at or above its own"), "{one}");
    let two = paragraph(&[shown(1, 5, 2, 0.5, 1.5)]);
    assert!(
        two.contains("2 of them were at or above their own"),
        "{two}"
    );
    let none = paragraph(&[shown(1, 5, 0, 0.5, 0.6)]);
    assert!(
        none.contains("none of them was at or above its own"),
        "{none}"
    );
    let mut everywhere: Vec<_> = (0..15).map(|place| shown(place, 4, 1, 0.5, 1.5)).collect();
    let last = paragraph(&everywhere);
    assert!(
        last.ends_with(
            "1 county has no figures: it was not visited, or had too few fields to publish. No conclusion can be \
             drawn there."
        ),
        "{last}"
    );
    everywhere.push(shown(15, 4, 0, 0.5, 0.6));
    assert!(!paragraph(&everywhere).contains("No conclusion"));
}

#[test]
fn a_week_without_figures_makes_no_claim() {
    for rows in [vec![], vec![other_stage(1, 3)]] {
        let says = paragraph(&rows);
        assert!(
            says.starts_with("No county has enough sampled fields for figures of its own."),
            "{says}"
        );
        let answers = answers(&page(&rows));
        assert!(
            answers[0].starts_with("No county has figures of its own this week."),
            "{answers:?}"
        );
        assert!(answers[1].contains("nothing can be said of single counties"));
        assert!(!answers.concat().contains('%'), "{answers:?}");
    }
}

#[test]
fn weeks_are_compared_only_over_counties_shown_in_both() {
    let now = [shown(0, 5, 2, 1.0, 1.2), shown(1, 5, 0, 0.1, 0.2)];
    let none = paragraph_with(&now, Some(&[shown(2, 5, 5, 2.0, 2.0)]));
    assert!(!none.contains("last week"), "{none}");
    let one = paragraph_with(&now, Some(&[shown(1, 6, 1, 0.3, 1.2)]));
    assert!(
        one.contains(
            "Only Bergamot has figures in both this week and last week: none of 5 fields at threshold now, 1 of 6 \
             fields at threshold then."
        ),
        "{one}"
    );
    let before = [shown(0, 4, 0, 0.1, 0.2), shown(1, 6, 0, 0.3, 0.4)];
    let two = paragraph_with(&now, Some(&before));
    assert!(
        two.contains("none had fields at threshold last week; 1 has this week."),
        "{two}"
    );
}

#[test]
fn a_row_that_has_not_seen_the_newest_visits_says_until_when_it_counts() {
    let mut rows = vec![shown(0, 5, 2, 1.0, 1.2), shown(1, 5, 0, 0.1, 0.2)];
    rows[0].visits_until = jiff::civil::date(2026, 7, 22);
    let page = page(&rows);
    let of = |county: &str| between(&page, &format!("\">{county}"), "</th>").replace('\u{a0}', " ");
    assert_eq!(of("Alder"), " <small>visits through July 22</small>");
    assert_eq!(of("Bergamot"), "");
}

#[test]
fn a_median_just_below_threshold_is_neither_shown_nor_drawn_as_at_threshold() {
    let page = page(&[
        shown(6, 8, 3, 0.999_999_999_9, 1.8),
        shown(7, 8, 4, 1.0, 1.8),
    ]);
    assert!(
        page.contains("7: Goldenrod, 3 of 8 fields at threshold, median 0.5 to under 1</title>")
    );
    assert!(page.contains("Of 16 counties, 2 have at least one field at threshold."));
    assert!(page.contains("0.5 to under 1 <em>(1 county)"));
    assert!(page.contains("1 to under 1.5: at or above threshold <em>(1 county)"));
    assert!(page.contains("8: Hazel, 4 of 8 fields at threshold, median 1 to under 1.5</title>"));
}

// ---- the page ----

#[test]
fn a_county_without_a_row_is_named_and_shows_no_number() {
    let with = page(&[shown(0, 5, 2, 0.9, 1.2)]);
    assert!(!with.contains("Dogwood</th>"));
    let named = between(
        &with,
        "<p>No figures (not visited, or too few fields to publish): ",
        ".</p>",
    );
    assert!(
        named.contains("Dogwood\u{a0}(4)") && !named.contains("Alder"),
        "{named}"
    );
    let visited = between(&with, "<p class=\"lead\">", "</p>");
    assert!(visited.contains("sampled 5 fields"), "{visited}");
}

#[test]
fn a_county_at_another_stage_shows_its_fields_there_and_nothing_else() {
    let with = page(&[shown(0, 5, 2, 0.9, 1.2), other_stage(3, 4)]);
    let cell = between(&with, "Dogwood</th>", "</tr>");
    assert_eq!(
        cell.trim(),
        "<td class=\"words\" colspan=\"6\">all fields at another crop stage</td><td data-of=\"outside\" \
         data-value=\"4\" data-label=\"Wrong stage\">4</td>"
    );
}

#[test]
fn the_page_loads_nothing_runs_one_script_of_its_own_and_carries_its_cautions() {
    let page = page(&week());
    // One script, which sorts the table, and one style; the policy lets in these two, by their hashes, and
    // nothing else.
    assert_eq!(page.matches("<script").count(), 1);
    for (kind, start, end) in [
        ("script", "<script>", "</script>"),
        ("style", "<style>", "</style>"),
    ] {
        let text = between(&page, start, end);
        let hash = STANDARD.encode(Sha256::digest(text.as_bytes()));
        assert!(
            page.contains(&format!("{kind}-src 'sha256-{hash}'")),
            "{kind}"
        );
    }
    for absent in [
        "javascript:",
        " onload",
        " onclick",
        "<link",
        "<iframe",
        "<img",
        "@import",
    ] {
        assert!(!page.contains(absent), "{absent}");
    }
    let addresses = page.matches("://").count();
    let namespace = page.matches("xmlns=\"http://www.w3.org/2000/svg\"").count();
    assert_eq!(
        addresses, namespace,
        "an address other than the name of SVG"
    );
    assert!(page.contains("default-src 'none'; ") && !page.contains("unsafe-inline"));
    for caution in [
        "The label is the law",
        "Scout your own field",
        "Treatment at R5.1 falls at bloom",
        "Restricted-entry and pre-harvest intervals",
        "Local rules and licensed advice come first",
        "Preliminary figures",
        "The six-bract count replaces no look",
        NOTICE,
        "store version 7",
        "made up for the tests",
    ] {
        assert!(page.contains(caution), "{caution}");
    }
    assert!(page.len() < 150_000, "{} bytes", page.len());
}

#[test]
fn rows_of_another_week_protocol_or_region_are_refused() {
    let other = |change: fn(&mut PublicRow)| {
        let mut row = shown(0, 5, 2, 0.9, 1.2);
        change(&mut row);
        vec![row]
    };
    for (rows, says) in [
        (
            other(|row| row.iso_week = "2026-W29".to_owned()),
            "another week",
        ),
        (
            other(|row| row.protocol = "traps".to_owned()),
            "another protocol",
        ),
        (
            other(|row| row.place = Place::County("999".to_owned())),
            "not in the region",
        ),
        (vec![other_stage(0, 3), other_stage(0, 3)], "comes twice"),
    ] {
        let failure = alert_html(&bulletin(&region(), &rows, None, &protocol()));
        let failure = failure.expect_err(says).to_string();
        assert!(failure.contains(says), "{failure}");
    }
}
