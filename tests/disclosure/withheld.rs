//! Groups that are withheld, and that they leave no trace.

use bractline::gate::pdf_words::words_of_pdf;
use serde_json::Value;

use super::{
    BROWN, WEEK, counties_of, field, fields, issue, issue_week, issued_files, load, table,
    workspace_of,
};
use crate::support::{assert_private, contents, folder_bytes, text_of};

const OTHERS: [&str; 3] = ["46015", "46065", "46099"];

#[test]
fn groups_that_would_give_a_farm_away_are_withheld_with_their_reason() {
    let eighteen: Vec<Value> = (0..18)
        .map(|number| field(OTHERS[0], &format!("big-{number}"), Some("Big Farm"), 5))
        .chain([
            field(OTHERS[0], "small-1", Some("small one"), 0),
            field(OTHERS[0], "small-2", Some("small two"), 0),
        ])
        .collect();
    let spelled = ["Farm-Vary1", "farm vary1", "FARM_VARY1"];
    let one_in_three = spelled
        .iter()
        .enumerate()
        .map(|(number, farm)| field(OTHERS[1], &format!("vary-{number}"), Some(farm), 5));
    let nameless = (0..3).map(|number| field(OTHERS[2], &format!("none-{number}"), None, 5));
    let mut all = fields(BROWN, 0..3, 5);
    all.extend(eighteen);
    all.extend(one_in_three);
    all.extend(nameless);
    let workspace = workspace_of(&all);
    issue_week(&workspace);
    // Brown has three fields of three farms.
    let counties = counties_of(&workspace, 1);
    assert_eq!(counties, [(BROWN.to_owned(), "1 3 3 1".to_owned())].into());
    let out = workspace.beside("figures");
    workspace
        .run(&["rollup", "--out", &text_of(&out)])
        .expect_code(0);
    let private = folder_bytes(&out.join("private"));
    let outcomes = table(&private["disclosure.csv"], "county_id");
    let reason = |county: &str| outcomes[county]["reason"].as_str();
    assert_eq!(reason(OTHERS[0]), "one farm has 18 of 20 fields");
    assert_eq!(reason(OTHERS[1]), "farms: 1, needed: 3");
    assert_eq!(reason(OTHERS[2]), "farms: 0, needed: 3");
    assert_eq!(outcomes[BROWN]["status"], "public");
    // The office has every figure of all of them, in full precision.
    let full = table(&private["county_week_full.csv"], "county_id");
    assert_eq!(full.len(), 4);
    assert_eq!(full[OTHERS[0]]["fields_visited"], "20");
    assert_eq!(full[OTHERS[0]]["fields_at_threshold"], "18");
    let public = folder_bytes(&out.join("public"));
    let text = String::from_utf8_lossy(&public["county_week.csv"]).into_owned();
    assert!(!OTHERS.iter().any(|county| text.contains(county)), "{text}");
}

#[test]
fn a_season_without_farm_ids_needs_more_fields() {
    let nameless = |count: usize| -> Vec<Value> {
        let one = |number| field(BROWN, &format!("none-{number}"), None, 5);
        (0..count).map(one).collect()
    };
    let four = workspace_of(&nameless(4));
    issue_week(&four);
    assert!(counties_of(&four, 1).is_empty());
    let five = workspace_of(&nameless(5));
    issue_week(&five);
    assert_eq!(counties_of(&five, 1)[BROWN], "4 5 5 1");
}

#[test]
fn a_county_that_falls_below_the_least_is_withheld_or_stays_as_it_was() {
    let three = fields(BROWN, 0..3, 5);
    let mut retracted = three[0].clone();
    retracted["revision"] = 2.into();
    retracted["retracted"] = true.into();
    // Before anything is public: nothing is shown.
    let before = workspace_of(&three);
    load(&before, "retraction.ndjson", &[retracted.clone()]);
    issue_week(&before);
    assert!(counties_of(&before, 1).is_empty());
    // After: the correction says what the first alert said, and nothing of two fields.
    let after = workspace_of(&three);
    issue_week(&after);
    load(&after, "retraction.ndjson", &[retracted]);
    issue(&after, &["--reissue", "1"]);
    assert_eq!(counties_of(&after, 2), counties_of(&after, 1));
    let [first, second] =
        [1, 2].map(|number| issued_files(&after, number)["county_week.csv"].clone());
    assert_eq!(first, second);
}

#[test]
fn what_is_withheld_leaves_no_trace_in_any_public_byte() {
    // Two stores that differ in a county with too few fields alone: how many, their eggs, stages, areas.
    let mut few = fields(BROWN, 0..6, 5);
    let mut other = few.clone();
    few.extend(fields(OTHERS[0], 0..1, 0));
    other.extend(fields(OTHERS[0], 0..2, 30));
    for visit in other.iter_mut().skip(6) {
        visit["crop_stage"] = "R2".into();
        visit["field"]["area_ha"] = 20.0.into();
    }
    let public = |visits: &[Value]| {
        let workspace = workspace_of(visits);
        workspace.run(&["alert", "--week", WEEK]).expect_code(0);
        let draft = workspace.path().join("alerts").join(WEEK).join("bsm-eggs");
        folder_bytes(&draft)
    };
    let (one, two) = (public(&few), public(&other));
    for (name, bytes) in &one {
        let clean = |bytes: &[u8]| match name.ends_with(".pdf") {
            true => without_moment(&words_of_pdf(bytes).expect("a PDF")),
            false => without_moment(&String::from_utf8_lossy(bytes)),
        };
        assert_eq!(clean(bytes), clean(&two[name]), "{name}");
    }
}

/// A text without the minute of the newest submission, which is that of the load.
fn without_moment(text: &str) -> String {
    let moment =
        regex::Regex::new(r"[A-Z][a-z]+ \d{1,2}, \d{4}, \d{2}:\d{2} UTC").expect("a pattern");
    moment.replace_all(text, "").into_owned()
}

#[test]
fn private_files_are_for_their_owner_alone() {
    let workspace = workspace_of(&fields(BROWN, 0..4, 5));
    let out = workspace.beside("figures");
    workspace
        .run(&["rollup", "--out", &text_of(&out)])
        .expect_code(0);
    assert_private(&out.join("private"));
    assert!(contents(&out.join("private")).len() >= 5);
}
