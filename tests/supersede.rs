//! A file loaded again after its mapping was corrected: what differs takes the place of what was read before.

use serde_json::{Value, json};

use crate::support::held_desk::open;
use crate::support::mended::WIDE;
use crate::support::{TestWorkspace, counts, received, text_of};
use crate::undo::{load_from, sql, visit};

/// The two sheets' mappings: areas read as hectares, and as the acres that they are.
struct Office {
    workspace: TestWorkspace,
    wrong: String,
}

impl Office {
    /// The sample sheet, read by the wrong mapping.
    fn begun() -> Office {
        let workspace = TestWorkspace::of_region("us:46");
        let mapping = std::fs::read_to_string(WIDE).expect("the sample");
        let wrong = mapping.replace("unit = \"acre\"", "unit = \"ha\"");
        assert_ne!(wrong, mapping);
        let wrong = text_of(&workspace.write("wrong.toml", wrong));
        let office = Office { workspace, wrong };
        let account = office.load(&office.wrong, &[]);
        let visits = account["accepted"].as_u64().unwrap();
        assert_eq!(counts(&account), received(visits).accepted(visits));
        office
    }

    fn load(&self, mapping: &str, more: &[&str]) -> Value {
        let file = "sample_data/mappings/wide.csv";
        let arguments = ["load", file, "--mapping", mapping, "--format", "json"];
        self.workspace.run(&[&arguments, more].concat()).json()
    }

    fn visits(&self) -> u64 {
        let query = "select count(distinct visit_id) as visits from visits";
        sql(&self.workspace, query)[0]["visits"].as_u64().unwrap()
    }

    /// Field, revision and area of each visit as it counts.
    fn current(&self) -> Vec<(String, i64, f64)> {
        let rows = sql(
            &self.workspace,
            "select visit_id, field_id, revision, area_ha from visits v where not exists (select 1 from visits o \
               where o.visit_id = v.visit_id and o.revision > v.revision) order by visit_id",
        );
        let row = |row: &Value| {
            let field = row["field_id"].as_str().unwrap().to_owned();
            let area = row["area_ha"].as_f64().unwrap();
            (
                field,
                row["revision"].as_i64().unwrap(),
                (area * 10.0).round() / 10.0,
            )
        };
        rows.iter().map(row).collect()
    }
}

#[test]
fn what_differs_becomes_the_next_revision_and_is_listed_and_can_be_undone() {
    let office = Office::begun();
    let visits = office.visits();
    let before = office.current();
    let plain = office.load(WIDE, &[]);
    assert_eq!(counts(&plain), received(visits).held(visits));
    assert_eq!(open(&office.workspace), visits);
    let finding = &plain["submissions"][0]["held_records"][0]["findings"][0];
    let expected = finding["expected"].as_str().unwrap();
    assert!(expected.contains("--supersede"), "{expected}");

    let account = office.load(WIDE, &["--supersede"]);
    assert_eq!(counts(&account), received(visits).accepted(visits));
    assert_eq!(
        open(&office.workspace),
        0,
        "what was held of them is accepted now"
    );
    let of_file = &account["submissions"][0];
    assert_eq!(of_file["flags"]["supersedes-revision"], visits);
    let found = of_file["flagged_records"][0]["findings"][0]["found"]
        .as_str()
        .unwrap();
    assert!(
        found.contains("/field/area_ha 100") && found.contains(" → 40.4"),
        "{found}"
    );
    let corrected = office.current();
    assert!(
        corrected.iter().all(|(_, revision, _)| *revision == 2),
        "{corrected:?}"
    );
    assert_eq!(corrected[0].2, 40.5);

    // The same file again, with and without the flag, brings nothing.
    for more in [&[][..], &["--supersede"][..]] {
        assert_eq!(
            counts(&office.load(WIDE, more)),
            received(visits).duplicate(visits)
        );
    }
    // What the former mapping reads is known too, and takes no place back.
    let wrong = office.load(&office.wrong, &["--supersede"]);
    assert_eq!(counts(&wrong), received(visits).duplicate(visits));

    let query = format!(
        "select load_id from receipts where accepted = {visits} order by load_id desc limit 1"
    );
    let load = sql(&office.workspace, &query)[0]["load_id"]
        .as_str()
        .unwrap()
        .to_owned();
    let undo = ["submissions", "undo", &load, "--reason", "a test", "--yes"];
    office.workspace.run(&undo).expect_code(0);
    let undone = office.current();
    assert!(
        undone
            .iter()
            .zip(&before)
            .all(|(now, then)| now.2 == then.2),
        "{undone:?}"
    );
    assert_eq!(
        open(&office.workspace),
        visits,
        "what the load had closed is open again"
    );
    let again = office.load(WIDE, &["--supersede"]);
    assert_eq!(counts(&again), received(visits).accepted(visits));
    assert_eq!(office.current()[0], ("F-9001".to_owned(), 4, 40.5));
    office.workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn a_visit_that_was_edited_or_withdrawn_or_sent_by_another_keeps_what_it_has() {
    let workspace = TestWorkspace::of_region("us:46");
    load_from(
        &workspace,
        "north",
        "n.ndjson",
        &[visit(1), visit(2), visit(3), visit(4)],
    );
    let set = [
        "visit",
        "edit",
        "v-1",
        "--set",
        "/field/area_ha=41.5",
        "--reason",
        "x",
    ];
    workspace.run(&set).expect_code(0);
    let mut withdrawn = visit(2);
    withdrawn["revision"] = json!(2);
    withdrawn["retracted"] = json!(true);
    load_from(&workspace, "north", "w.ndjson", &[withdrawn]);

    let other = |number: u32| {
        let mut other = visit(number);
        other["field"]["area_ha"] = json!(55.5);
        other
    };
    let superseding = |sender: &str, numbers: &[u32]| {
        let records: Vec<Value> = numbers.iter().map(|number| other(*number)).collect();
        let path = workspace.write(&format!("{sender}.ndjson"), crate::support::lines(&records));
        let arguments = [
            "load",
            "--supersede",
            "--sender",
            sender,
            "--format",
            "json",
            &text_of(&path),
        ];
        workspace.run(&arguments).json()
    };
    assert_eq!(counts(&superseding("south", &[3])), received(1).held(1));
    let account = superseding("north", &[1, 2, 3, 4]);
    assert_eq!(
        counts(&account),
        received(4).accepted(2).held(2),
        "{account}"
    );
    let areas = sql(
        &workspace,
        "select v.area_ha from visits v where not exists (select 1 from visits o where o.visit_id = v.visit_id \
           and o.revision > v.revision) and not v.retracted order by v.visit_id",
    );
    let areas: Vec<f64> = areas
        .iter()
        .map(|row| row["area_ha"].as_f64().unwrap())
        .collect();
    assert_eq!(areas, [41.5, 55.5, 55.5]);

    // A sender's own next revision comes after what took the place of the first.
    let mut next = other(4);
    next["revision"] = json!(2);
    next["field"]["area_ha"] = json!(66.5);
    let account = load_from(&workspace, "north", "next.ndjson", &[next.clone()]);
    assert_eq!(counts(&account), received(1).accepted(1), "{account}");
    let again = load_from(&workspace, "north", "next.ndjson", &[next]);
    assert_eq!(counts(&again), received(1).duplicate(1), "{again}");
    workspace.run(&["store", "verify"]).expect_code(0);
}

/// A sheet that says two things of one visit does not take its own place.
#[test]
fn of_two_records_of_one_visit_in_one_file_the_second_is_held() {
    let workspace = TestWorkspace::of_region("us:46");
    load_from(&workspace, "north", "n.ndjson", &[visit(1)]);
    let with_area = |area: f64| {
        let mut other = visit(1);
        other["field"]["area_ha"] = json!(area);
        other
    };
    let text = crate::support::lines(&[with_area(55.5), with_area(66.5)]);
    let path = text_of(&workspace.write("two.ndjson", text));
    let run = workspace.run(&["load", "--supersede", "--format", "json", &path]);
    assert_eq!(counts(&run.json()), received(2).accepted(1).held(1));
}
