//! Each doubt on an invented visit that is wrong and on one that is right, through the program: the flag,
//! its sentence, and what `[flags] hold` makes of it.

use scouting::visit::code::Code;
use scouting::visit::rules::doubts::CODES;
use serde_json::{Value, json};

use crate::support::{TestWorkspace, lines, visit};

/// Doubts that need a sender, a table or another load, each with examples in `whose_field.rs`, `table_doubts.rs` of
/// the intake, and `supersede.rs`.
const ELSEWHERE: [&str; 4] = [
    "field-of-another-sender",
    "day-month-order",
    "area-like-acres",
    "supersedes-revision",
];

/// What a submission holds, what must be doubted in it, and which record that is.
struct Case {
    code: &'static str,
    /// Accepted without this doubt, every one.
    right: Vec<Value>,
    /// After these, the last is doubted.
    wrong: Vec<Value>,
    /// A piece of the sentence.
    says: &'static str,
}

/// A visit with members replaced, each named by its JSON Pointer.
fn bent(visit_id: &str, changes: &[(&str, Value)]) -> Value {
    let mut visit = visit(visit_id);
    for (pointer, value) in changes {
        match visit.pointer_mut(pointer) {
            Some(place) => *place = value.clone(),
            None => visit[pointer.trim_start_matches('/')] = value.clone(),
        }
    }
    visit
}

/// A visit of a field of its own, far from all others, by a scout of its own.
fn apart(number: u32, changes: &[(&str, Value)]) -> Value {
    let mut visit = bent(&format!("apart-{number}"), changes);
    visit["field"]["field_id"] = json!(format!("F-9{number:05}"));
    visit["field"]["lat"] = json!(44.2 + 0.01 * f64::from(number));
    visit["observer_id"] = json!(format!("obs-9{number:03}"));
    visit
}

fn usual_visits(count: u32) -> Vec<Value> {
    (0..count).map(|number| apart(number, &[])).collect()
}

fn plants(values: Vec<u32>) -> Value {
    let heads: Vec<Vec<u32>> = values.chunks(6).map(<[u32]>::to_vec).collect();
    json!([{"site": 1, "heads": heads}])
}

fn cases() -> Vec<Case> {
    let lat = |lat: f64| ("/field/lat", json!(lat));
    let field = |id: &str| ("/field/field_id", json!(id));
    let day = |day: &str| {
        vec![
            ("/observed_on", json!(day)),
            ("/submitted_at", json!(format!("{day}T18:00:00Z"))),
        ]
    };
    let staged = |id: &str, on: &str, stage: &str| {
        let mut changes = day(on);
        changes.push(("/crop_stage", json!(stage)));
        bent(id, &changes)
    };
    vec![
        Case {
            code: "field-moved",
            right: vec![visit("a"), bent("b", &[lat(44.132)])],
            wrong: vec![visit("a"), bent("b", &[lat(44.133)])],
            says: "1.1 km from where F-000123 was before",
        },
        Case {
            code: "field-twice",
            right: vec![visit("a"), bent("b", &[field("F-2"), lat(44.1239)])],
            wrong: vec![visit("a"), bent("b", &[field("F-2"), lat(44.1238)])],
            says: "39 m from the field F-000123",
        },
        Case {
            code: "economics-unusual",
            right: [
                usual_visits(20),
                vec![apart(
                    20,
                    &[("/economics/plant_population/count", json!(4200))],
                )],
            ]
            .concat(),
            wrong: [
                usual_visits(20),
                vec![apart(
                    20,
                    &[("/economics/treatment_cost/amount", json!(41.0))],
                )],
            ]
            .concat(),
            says: "41 USD per acre, 5.1",
        },
        Case {
            code: "counts-all-equal",
            right: vec![bent("a", &[("/sites", plants(vec![0; 12]))])],
            wrong: vec![bent("a", &[("/sites", plants(vec![2; 12]))])],
            says: "12 counts, each 2",
        },
        Case {
            code: "digit-preference",
            right: vec![bent(
                "a",
                &[(
                    "/sites",
                    plants((0..60).map(|step| 9 + step % 40).collect()),
                )],
            )],
            wrong: vec![bent(
                "a",
                &[(
                    "/sites",
                    plants((0..30).map(|step| 10 + 5 * (step % 4)).collect()),
                )],
            )],
            says: "30 counts at a multiple of 5 and only 0 one off it",
        },
        Case {
            code: "id-like-a-name",
            right: vec![bent("a", &[("/observer_id", json!("Scout 12"))])],
            wrong: vec![bent("a", &[("/observer_id", json!("Jo Invented"))])],
            says: "the scout id \"Jo Invented\"",
        },
        Case {
            code: "observer-in-two-places",
            right: vec![
                visit("a"),
                bent("b", &[field("F-2"), ("/field/lon", json!(-97.0))]),
            ],
            wrong: vec![
                bent("a", &[field("F-1"), ("/field/lon", json!(-103.5))]),
                bent("b", &[field("F-2"), ("/field/lon", json!(-97.0))]),
            ],
            says: "km away on the same day",
        },
        Case {
            code: "stage-backwards",
            right: vec![
                staged("a", "2026-07-14", "R5"),
                staged("b", "2026-07-21", "R5.2"),
                staged("c", "2026-07-07", "R3"),
            ],
            wrong: vec![
                staged("a", "2026-07-14", "R3"),
                staged("b", "2026-07-21", "R2"),
            ],
            says: "R2, where F-000123 was at R3 on 2026-07-14",
        },
        Case {
            code: "visit-long-before-submission",
            right: vec![bent("a", &[("/observed_on", json!("2026-06-06"))])],
            wrong: vec![bent("a", &[("/observed_on", json!("2026-06-05"))])],
            says: "46 days before the submission on 2026-07-21",
        },
        Case {
            code: "count-strange",
            right: vec![bent("a", &[("/sites", plants(vec![0, 0, 140, 9, 0, 0]))])],
            wrong: vec![bent("a", &[("/sites", plants(vec![0, 0, 150, 9, 0, 0]))])],
            says: "150 (159 on the whole head)",
        },
        Case {
            code: "same-visit-other-id",
            right: vec![
                visit("a"),
                bent("b", &[("/observer_id", json!("obs-other"))]),
                bent("c", &day("2026-07-22")),
            ],
            wrong: vec![visit("a"), bent("b", &[("/crop_stage", json!("R2"))])],
            says: "where a has the same field, day, scout and protocol; the crop stage differs",
        },
        Case {
            code: "field-id-look-alike",
            right: vec![visit("a"), bent("b", &[field("F-124"), lat(44.3)])],
            wrong: vec![visit("a"), bent("b", &[field("f 000123"), lat(44.3)])],
            says: "the field \"f 000123\", where a visit of this season has the field \"F-000123\"",
        },
    ]
}

fn flags(account: &Value) -> &Value {
    &account["submissions"][0]["flags"]
}

#[test]
fn every_doubt_flags_the_wrong_visit_and_no_right_one() {
    let cases = cases();
    let here: Vec<&str> = cases.iter().map(|case| case.code).collect();
    let codes = CODES.map(Code::as_str);
    let others = codes.into_iter().filter(|code| !here.contains(code));
    assert_eq!(others.collect::<Vec<_>>(), ELSEWHERE);
    assert!(here.iter().all(|code| codes.contains(code)));
    for case in cases {
        let workspace = TestWorkspace::of_region("us:46");
        let right = workspace.load_text("right.ndjson", &lines(&case.right));
        assert_eq!(right["accepted"], case.right.len(), "{}", case.code);
        assert_eq!(
            flags(&right)[case.code],
            Value::Null,
            "{}: {right}",
            case.code
        );

        let workspace = TestWorkspace::of_region("us:46");
        let wrong = workspace.load_text("wrong.ndjson", &lines(&case.wrong));
        assert_eq!(wrong["accepted"], case.wrong.len(), "{}", case.code);
        assert_eq!(flags(&wrong)[case.code], 1, "{}: {wrong}", case.code);
        let doubts = &wrong["submissions"][0]["flagged_records"];
        assert_eq!(doubts.as_array().map(Vec::len), Some(1), "{doubts}");
        assert_eq!(doubts[0]["line"], case.wrong.len(), "{doubts}");
        let finding = &doubts[0]["findings"][0];
        assert_eq!(finding["code"], case.code);
        let found = finding["found"].as_str().expect("a sentence");
        assert!(found.contains(case.says), "{}: {found}", case.code);
    }
}

#[test]
fn a_doubt_named_in_the_settings_holds_the_visit_and_no_other() {
    for case in cases() {
        let workspace = TestWorkspace::of_region("us:46");
        workspace.change_setting("hold = []", &format!("hold = [{:?}]", case.code));
        let account = workspace.load_text("wrong.ndjson", &lines(&case.wrong));
        assert_eq!(account["held"], 1, "{}: {account}", case.code);
        assert_eq!(account["accepted"], case.wrong.len() - 1, "{}", case.code);
        let held = &account["submissions"][0]["held_records"][0];
        assert_eq!(held["findings"][0]["code"], case.code);

        // Held, it is not known: once the setting is taken back the same record is accepted.
        workspace.change_setting(&format!("hold = [{:?}]", case.code), "hold = []");
        let again = workspace.load_text("again.ndjson", &lines(&case.wrong));
        assert_eq!(again["accepted"], 1, "{}: {again}", case.code);
    }
}

#[test]
fn a_setting_that_names_no_doubt_is_refused_with_the_list() {
    let workspace = TestWorkspace::of_region("us:46");
    workspace.change_setting("hold = []", "hold = [\"field-move\"]");
    let run = workspace.run(&["store", "info"]).expect_code(1);
    assert!(run.stderr.contains("\"field-move\""), "{}", run.stderr);
    for code in CODES {
        assert!(run.stderr.contains(code.as_str()), "{code}: {}", run.stderr);
    }
}

/// Workspaces of earlier versions say `[doubts]`: what they hold stays held.
#[test]
fn a_workspace_with_the_former_name_of_the_table_holds_as_before() {
    let workspace = TestWorkspace::of_region("us:46");
    workspace.change_setting("[flags]", "[doubts]");
    let case = cases().into_iter().next().expect("a first case");
    let hold = format!("hold = [{:?}]", case.code);
    workspace.change_setting("hold = []", &hold);
    let account = workspace.load_text("wrong.ndjson", &lines(&case.wrong));
    assert!(account["held"].as_u64() > Some(0), "{account}");
}

/// The same visits, in one submission, in one run of several or in several runs, raise the same doubts;
/// `check` says them before `load` does.
#[test]
fn doubts_do_not_depend_on_how_the_visits_are_handed_in() {
    let mut visits: Vec<Value> = usual_visits(24);
    for case in cases() {
        for (place, mut visit) in case.wrong.into_iter().enumerate() {
            let id = format!("{}-{place}-{}", case.code, visit["visit_id"]);
            visit["visit_id"] = json!(id);
            if case.code != "economics-unusual" {
                visits.push(visit);
            }
        }
    }
    let one = TestWorkspace::of_region("us:46");
    let path = one.write("all.ndjson", lines(&visits));
    let checked = one.run(&["check", &path.display().to_string(), "--format", "json"]);
    let checked = doubted(&checked.expect_code(0).json());
    let loaded = doubted(&one.load_text("all.ndjson", &lines(&visits)));
    assert!(loaded.len() >= 7, "{loaded:?}");
    assert_eq!(checked, loaded);

    let (by_runs, by_files) = (
        TestWorkspace::of_region("us:46"),
        TestWorkspace::of_region("us:46"),
    );
    let mut in_runs = Vec::new();
    std::fs::create_dir(by_files.beside("inbox")).expect("a folder");
    for (place, part) in visits.chunks(9).enumerate() {
        let name = format!("part-{place}.ndjson");
        in_runs.extend(doubted(&by_runs.load_text(&name, &lines(part))));
        by_files.write(&format!("inbox/{name}"), lines(part));
    }
    let inbox = by_files.beside("inbox").display().to_string();
    let run = by_files.run(&["load", &inbox, "--format", "json"]);
    assert_eq!(in_runs, loaded);
    assert_eq!(doubted(&run.expect_code(0).json()), loaded);
}

/// Visit and doubts, in order.
fn doubted(account: &Value) -> Vec<(Value, Value)> {
    let submissions = account["submissions"].as_array().expect("submissions");
    submissions
        .iter()
        .flat_map(|submission| submission["flagged_records"].as_array().expect("a list"))
        .map(|doubt| (doubt["visit_id"].clone(), doubt["findings"].clone()))
        .collect()
}

/// A visit is not compared with itself: neither sent twice nor corrected nor withdrawn.
#[test]
fn a_visit_does_not_raise_doubts_against_itself() {
    let first = visit("a");
    let corrected = bent(
        "a",
        &[
            ("/revision", json!(2)),
            ("/field/lat", json!(45.9)),
            ("/field/lon", json!(-96.9)),
            ("/crop_stage", json!("R2")),
        ],
    );
    let renamed = bent(
        "a",
        &[
            ("/revision", json!(3)),
            ("/field/field_id", json!("F-000132")),
            ("/field/lat", json!(45.9)),
            ("/field/lon", json!(-96.9)),
        ],
    );
    let mut withdrawn = renamed.clone();
    withdrawn["revision"] = json!(4);
    withdrawn["retracted"] = json!(true);
    // After the withdrawal nothing is known of the field but what this one says.
    let after = bent("b", &[("/field/field_id", json!("F-000132"))]);
    let all = [first.clone(), first, corrected, renamed, withdrawn, after];

    let one = TestWorkspace::of_region("us:46");
    let account = one.load_text("all.ndjson", &lines(&all));
    assert_eq!(account["accepted"], 5, "{account}");
    assert_eq!(doubted(&account), [], "{account}");

    let each = TestWorkspace::of_region("us:46");
    for (place, record) in all.iter().enumerate() {
        let name = format!("{place}.ndjson");
        let account = each.load_text(&name, &lines(std::slice::from_ref(record)));
        assert_eq!(doubted(&account), [], "{account}");
    }
}

#[test]
fn the_text_report_says_how_many_and_shows_the_first() {
    let workspace = TestWorkspace::of_region("us:46");
    let mut visits = vec![visit("a")];
    visits.extend((0..5).map(|place| bent(&format!("b{place}"), &[("/field/lat", json!(44.5))])));
    let path = workspace.write("week.ndjson", lines(&visits));
    let run = workspace.run(&["check", &path.display().to_string()]);
    let text = run.expect_code(0).stdout;
    assert!(text.contains("  flag field-moved: 5 visits\n"), "{text}");
    assert_eq!(
        text.matches("from where F-000123 was before").count(),
        3,
        "{text}"
    );
    assert!(text.contains("    line 2: "), "{text}");
}
