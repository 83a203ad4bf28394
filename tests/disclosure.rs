//! What is public of which fields, judged on finished files: who is withheld, what changes between alerts, what an
//! alert of one protocol says of others, and what is left of one that was withdrawn.

use std::collections::BTreeMap;

use bractline::region::Region;
use geo::InteriorPoint;
use serde_json::{Value, json};

use crate::support::disclosure::shown;
use crate::support::{
    Row, TestWorkspace, assert_private, bractline, contents, csv_rows, folder_bytes, full_visit,
    lines,
};

const WEEK: &str = "2026-W30";

const DAY: &str = "2026-07-21";

/// Counties of South Dakota.
const BROWN: &str = "46013";

const OTHERS: [&str; 3] = ["46015", "46065", "46099"];

/// A visit of a field in a county; its mean is `eggs` in each head.
fn field(county: &str, name: &str, farm: Option<&str>, eggs: usize) -> Value {
    let region = Region::built_in("us:46").expect("South Dakota");
    let county = region.county(county).expect("a county");
    let (lon, lat) = county.shape.interior_point().expect("an inside").x_y();
    let mut visit = full_visit(&format!("visit-{name}"));
    visit["observed_on"] = DAY.into();
    visit["submitted_at"] = format!("{DAY}T18:00:00Z").into();
    visit["field"]["field_id"] = format!("FIELD-{name}").into();
    visit["field"]["lon"] = (lon + 0.000_371).into();
    visit["field"]["lat"] = (lat + 0.000_119).into();
    if let Some(farm) = farm {
        visit["field"]["farm_id"] = farm.into();
    }
    let heads = vec![vec![eggs, 0, 0, 0, 0, 0]; 5];
    let sites = (1..=4).map(|site| json!({ "site": site, "heads": heads }));
    visit["sites"] = sites.collect();
    visit
}

/// So many fields of a county, each of a farm of its own.
fn fields(county: &str, numbers: std::ops::Range<usize>, eggs: usize) -> Vec<Value> {
    let one = |number| {
        let name = format!("{county}-{number}");
        field(county, &name, Some(&format!("farm-{name}")), eggs)
    };
    numbers.map(one).collect()
}

fn workspace_of(visits: &[Value]) -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    load(&workspace, "visits.ndjson", visits);
    workspace
}

fn load(workspace: &TestWorkspace, name: &str, visits: &[Value]) {
    let account = workspace.load_text(name, &lines(visits));
    assert_eq!(account["accepted"], visits.len(), "{account:#}");
}

fn issue(workspace: &TestWorkspace, arguments: &[&str]) -> Value {
    let mut all = vec!["alert", "--format", "json"];
    all.extend(arguments);
    workspace.run(&all).expect_code(0).json()
}

fn issue_week(workspace: &TestWorkspace) -> Value {
    issue(workspace, &["--week", WEEK, "--issue"])
}

/// The rows of a CSV file by the text of a column.
fn table(bytes: &[u8], key: &str) -> BTreeMap<String, Row> {
    let rows = csv_rows(bytes).into_iter();
    rows.map(|row| (row[key].clone(), row)).collect()
}

fn issued_files(workspace: &TestWorkspace, number: i64) -> BTreeMap<String, Vec<u8>> {
    folder_bytes(&workspace.path().join(format!("alerts/issued/{number:04}")))
}

/// The counties that the public table of an alert has, with the least and most fields at threshold.
fn counties_of(workspace: &TestWorkspace, number: i64) -> BTreeMap<String, String> {
    let files = issued_files(workspace, number);
    let rows = table(&files["county_week.csv"], "county_id");
    let said = |(county, row): (String, BTreeMap<String, String>)| {
        let of = [
            "at_threshold_min",
            "at_threshold_max",
            "fields_visited",
            "edition",
        ];
        (county, of.map(|name| row[name].clone()).join(" "))
    };
    rows.into_iter().map(said).collect()
}

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
        .run(&["rollup", "--out", &shown(&out)])
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
fn a_late_field_changes_no_row_and_three_change_it_once() {
    let workspace = workspace_of(&fields(BROWN, 0..6, 5));
    issue_week(&workspace);
    let first = issued_files(&workspace, 1);
    load(&workspace, "late.ndjson", &fields(BROWN, 6..7, 0));
    let second = issue(&workspace, &["--reissue", "1"]);
    assert_eq!(second["rows_made_public"], 0);
    assert_eq!(
        first["county_week.csv"],
        issued_files(&workspace, 2)["county_week.csv"]
    );
    load(&workspace, "later.ndjson", &fields(BROWN, 7..9, 0));
    issue(&workspace, &["--reissue", "2"]);
    assert_eq!(counties_of(&workspace, 3)[BROWN], "6 6 9 2");
    // No third: what comes later is told elsewhere.
    load(&workspace, "last.ndjson", &fields(BROWN, 9..13, 0));
    issue(&workspace, &["--reissue", "3"]);
    assert_eq!(counties_of(&workspace, 4)[BROWN], "6 6 9 2");
    let files = issued_files(&workspace, 4);
    let elsewhere = table(&files["elsewhere_week.csv"], "place");
    assert_eq!(elsewhere["elsewhere in the region"]["fields_visited"], "4");
    // Each can be built again, byte for byte.
    for number in ["1", "2", "3", "4"] {
        let again = issue(&workspace, &["--as-issued", number]);
        assert_eq!(again["same"], true, "{again:#}");
    }
}

/// Visits of another protocol in the same county.
fn moths(numbers: std::ops::Range<usize>) -> Vec<Value> {
    let one = |number: usize| {
        let mut visit = field(
            BROWN,
            &format!("adult-{number}"),
            Some(&format!("farm-m{number}")),
            0,
        );
        visit["protocol"] = "bsm-adults".into();
        let plants = vec![1; 20];
        let sites = (1..=5).map(|site| json!({ "site": site, "plants": plants }));
        visit["sites"] = sites.collect();
        visit
    };
    numbers.map(one).collect()
}

#[test]
fn alerts_of_several_protocols_keep_apart_and_only_what_was_issued_is_published() {
    let mut all = fields(BROWN, 0..6, 5);
    all.extend(moths(0..5));
    let workspace = workspace_of(&all);
    for protocol in ["bsm-eggs", "bsm-adults"] {
        workspace
            .run(&["alert", "--week", WEEK, "--protocol", protocol])
            .expect_code(0);
    }
    let drafts = workspace.path().join("alerts").join(WEEK);
    for (protocol, other) in [("bsm-eggs", "bsm-adults"), ("bsm-adults", "bsm-eggs")] {
        let files = folder_bytes(&drafts.join(protocol));
        assert_eq!(files.len(), 7, "{:?}", files.keys());
        let map = String::from_utf8_lossy(&files["county_week.geojson"]).into_owned();
        assert!(map.contains(protocol) && !map.contains(other));
    }
    let week = std::fs::read_to_string(drafts.join("index.html")).expect("the week's page");
    assert!(week.contains("bsm-eggs/alert.html") && week.contains("bsm-adults/alert.html"));
    issue(
        &workspace,
        &["--week", WEEK, "--protocol", "bsm-eggs", "--issue"],
    );
    let place = workspace.beside("public");
    workspace
        .run(&["publish", "--to", &shown(&place)])
        .expect_code(0);
    let public = contents(&place);
    assert_eq!(public.len(), 10, "{:?}", public.keys());
    for (path, bytes) in public {
        let text = String::from_utf8_lossy(&bytes).into_owned();
        for word in ["bsm-adults", "Banded sunflower moth, adults"] {
            assert!(!text.contains(word), "{word} in {}", path.display());
        }
    }
}

#[test]
fn a_correction_keeps_the_note_unless_another_is_given() {
    let workspace = workspace_of(&fields(BROWN, 0..6, 5));
    let note = workspace.write("note.md", "Moths fly at dusk.\n");
    issue(
        &workspace,
        &["--week", WEEK, "--issue", "--note", &shown(&note)],
    );
    issue(&workspace, &["--reissue", "1"]);
    let other = workspace.write("other.md", "Flight is over.\n");
    issue(&workspace, &["--reissue", "2", "--note", &shown(&other)]);
    issue(&workspace, &["--reissue", "3", "--no-note"]);
    let said = |number| {
        let text = issued_files(&workspace, number)["alert.md"].clone();
        let text = String::from_utf8(text).expect("UTF-8");
        ["Moths fly at dusk.", "Flight is over."].map(|note| text.contains(note))
    };
    assert_eq!(said(1), [true, false]);
    assert_eq!(said(2), [true, false]);
    assert_eq!(said(3), [false, true]);
    assert_eq!(said(4), [false, false]);
}

#[test]
fn a_withdrawn_alert_leaves_a_stub_and_its_week_can_be_issued_again() {
    let all = fields(BROWN, 0..6, 5);
    let workspace = workspace_of(&all);
    issue_week(&workspace);
    let place = workspace.beside("public");
    let publish = || workspace.run(&["publish", "--to", &shown(&place)]);
    publish().expect_code(0);
    assert!(place.join("0001/county_week.csv").is_file());
    let run = workspace.run(&["alert", "--withdraw", "1"]);
    assert_eq!(run.code, Some(2), "a reason is needed");
    issue(
        &workspace,
        &["--withdraw", "1", "--reason", "counts of another week <b>"],
    );
    let run = workspace.run(&["alert", "--withdraw", "1", "--reason", "again"]);
    assert!(run.expect_code(1).stderr.contains("withdrawn already"));
    let run = workspace.run(&["alert", "--reissue", "1"]).expect_code(1);
    assert!(run.stderr.contains("was withdrawn"), "{run:?}");
    publish().expect_code(0);
    let public = folder_bytes(&place);
    let names: Vec<&str> = public
        .keys()
        .map(String::as_str)
        .filter(|name| name.starts_with("0001"))
        .collect();
    assert_eq!(names, ["0001/alert.html"]);
    let stub = String::from_utf8(public["0001/alert.html"].clone()).expect("UTF-8");
    assert!(stub.contains("was withdrawn") && stub.contains("counts of another week"));
    assert!(!stub.contains("<b>") && !stub.contains("6 of 6") && !stub.contains("or more of"));
    for name in ["feed.xml", "index.html"] {
        let text = String::from_utf8(public[name].clone()).expect("UTF-8");
        assert!(text.contains("counts of another week"), "{name}");
        assert!(!text.contains("Fields at threshold"), "{name}");
    }
    // Nothing has changed: the same row is shown again, and tells nothing new.
    issue_week(&workspace);
    assert_eq!(counties_of(&workspace, 2), counties_of(&workspace, 1));
    issue(
        &workspace,
        &["--withdraw", "2", "--reason", "one count was wrong"],
    );
    // One corrected field would be told of by a row made again: it is shown no more.
    let mut corrected = all[0].clone();
    corrected["revision"] = 2.into();
    corrected["sites"] = field(BROWN, "x", None, 0)["sites"].clone();
    load(&workspace, "corrected.ndjson", &[corrected]);
    issue_week(&workspace);
    assert!(counties_of(&workspace, 3).is_empty());
}

/// A workspace that the program had made before public rows: its store is read as it is, its alert stays in the
/// workspace and is published no more, and once it is withdrawn its week is issued again.
#[test]
fn a_store_of_the_program_before_is_read_and_its_alert_is_no_more_published() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let unpacked = std::process::Command::new("tar")
        .args(["xzf", "tests/older/first_round.tgz", "-C"])
        .arg(folder.path())
        .status();
    assert!(unpacked.expect("tar runs").success());
    let workspace = shown(&folder.path().join("ws_old"));
    let place = shown(&folder.path().join("public"));
    let run = |arguments: &[&str]| {
        let mut all = vec!["--workspace", &workspace];
        all.extend(arguments);
        bractline(&all)
    };
    let frozen = folder_bytes(&folder.path().join("ws_old/alerts/issued/0001"));
    assert!(
        run(&["alert", "--list"])
            .expect_code(0)
            .stdout
            .contains("0001")
    );
    for refused in [
        &["publish", "--to", &place][..],
        &["alert", "--as-issued", "1"],
        &["alert", "--reissue", "1"],
    ] {
        let said = run(refused).expect_code(1).stderr;
        assert!(
            said.contains("older program") && said.contains("--withdraw 1"),
            "{said}"
        );
    }
    run(&[
        "alert",
        "--withdraw",
        "1",
        "--reason",
        "issued under an older rule",
    ])
    .expect_code(0);
    run(&["alert", "--week", WEEK, "--issue"]).expect_code(0);
    run(&["publish", "--to", &place]).expect_code(0);
    let public = folder_bytes(&folder.path().join("public"));
    assert!(public.contains_key("0002/county_week.csv"));
    assert!(!public.contains_key("0001/county_week.csv"));
    // Nothing of it is lost.
    let still = folder_bytes(&folder.path().join("ws_old/alerts/issued/0001"));
    assert!(frozen == still);
    assert!(
        run(&["store", "verify"])
            .expect_code(0)
            .stdout
            .contains("whole")
    );
}

#[test]
fn settings_are_raised_and_never_lowered() {
    let workspace = workspace_of(&fields(BROWN, 0..4, 5));
    issue_week(&workspace);
    for (from, to, says) in [
        (
            "min_fields = 3",
            "min_fields = 2",
            "min_fields = 2 is too small",
        ),
        (
            "min_farms = 3",
            "min_farms = 1",
            "min_farms = 1 is too small",
        ),
        (
            "min_fields_without_farms = 5",
            "min_fields_without_farms = 4",
            "min_fields_without_farms = 4 is too small",
        ),
        (
            "level = \"survey\"",
            "level = \"open\"",
            "expected `survey` or `strict`",
        ),
    ] {
        workspace.change_setting(from, to);
        let run = workspace.run(&["alert", "--list"]).expect_code(1);
        assert!(run.stderr.contains(says), "{run:?}");
        workspace.change_setting(to, from);
    }
    // Raised, the alert is let out no more; withdrawn, it is no hindrance.
    workspace.change_setting("min_fields = 3", "min_fields = 5");
    let place = shown(&workspace.beside("public"));
    let publish = || workspace.run(&["publish", "--to", &place]);
    let run = publish().expect_code(1);
    assert!(run.stderr.contains("--withdraw 1"), "{run:?}");
    issue(
        &workspace,
        &["--withdraw", "1", "--reason", "our rule is stricter now"],
    );
    publish().expect_code(0);
}

#[test]
fn a_season_goes_from_survey_to_strict_and_not_back() {
    let workspace = workspace_of(&fields(BROWN, 0..7, 5));
    workspace.change_setting("level = \"survey\"", "level = \"strict\"");
    issue_week(&workspace);
    assert_eq!(counties_of(&workspace, 1)[BROWN], "3 7 7 1");
    workspace.change_setting("level = \"strict\"", "level = \"survey\"");
    let run = workspace.run(&["alert", "--reissue", "1"]).expect_code(1);
    assert!(run.stderr.contains("level strict"), "{run:?}");
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
        let clean = |bytes: &[u8]| without_moment(&String::from_utf8_lossy(bytes));
        assert_eq!(clean(bytes), clean(&two[name]), "{name}");
    }
}

/// A text without the minute of the newest submission, which is that of the load.
fn without_moment(text: &str) -> String {
    let moment = regex::Regex::new(r"\d{4}-\d{2}-\d{2} \d{2}:\d{2} UTC").expect("a pattern");
    moment.replace_all(text, "").into_owned()
}

#[test]
fn private_files_are_for_their_owner_alone() {
    let workspace = workspace_of(&fields(BROWN, 0..4, 5));
    let out = workspace.beside("figures");
    workspace
        .run(&["rollup", "--out", &shown(&out)])
        .expect_code(0);
    assert_private(&out.join("private"));
    assert!(contents(&out.join("private")).len() >= 5);
}
