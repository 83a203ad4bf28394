//! Economics that a record lacks: assumed where the workspace has a default, with a trace all the way to the
//! alert; else the record is held.

use serde_json::{Value, json};

use crate::support::{TestWorkspace, lines, visit};

const OILSEED: &str = r#"
[defaults.oilseed]
treatment_cost = { amount = 8.0, per = "acre", currency = "USD" }
market_value = { amount = 0.16, per = "lb", currency = "USD" }
plant_population = { count = 20000, per = "acre" }
"#;

fn workspace_with(settings: &str) -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    add(&workspace, settings);
    workspace
}

fn add(workspace: &TestWorkspace, settings: &str) {
    let place = workspace.path().join("bractline.toml");
    let before = std::fs::read_to_string(&place).expect("settings");
    std::fs::write(place, before + settings).expect("settings");
}

/// A visit of a field and scout of its own that lacks these members of its economics.
fn lacking(number: u32, members: &[&str]) -> Value {
    let mut visit = visit(&format!("v-{number}"));
    visit["field"]["field_id"] = json!(format!("F-{number}"));
    visit["field"]["lat"] = json!(44.12 + 0.01 * f64::from(number));
    let economics = visit["economics"].as_object_mut().expect("economics");
    for member in members {
        economics.remove(*member);
    }
    if economics.is_empty() {
        visit.as_object_mut().expect("a record").remove("economics");
    }
    visit
}

const ALL: [&str; 3] = ["treatment_cost", "market_value", "plant_population"];

#[test]
fn without_a_default_a_record_is_held_and_told_what_is_missing() {
    let workspace = workspace_with("");
    let records = [
        lacking(1, &ALL),
        lacking(2, &["market_value"]),
        lacking(3, &[]),
    ];
    let account = workspace.load_text("week.ndjson", &lines(&records));
    assert_eq!(account["accepted"], 1, "{account}");
    let held = &account["submissions"][0]["held_records"];
    for (place, found) in [
        (0, "no treatment_cost, no market_value, no plant_population"),
        (1, "no market_value"),
    ] {
        let finding = &held[place]["findings"][0];
        assert_eq!(finding["code"], "economics-missing");
        assert_eq!(finding["found"], found);
        assert_eq!(held[place]["findings"].as_array().map(Vec::len), Some(1));
    }

    // A default of another crop type, or of another member, is none for this record.
    let others = OILSEED.replace("oilseed", "confection")
        + "[defaults.oilseed]\nplant_population = { count = 20000, per = \"acre\" }\n";
    let account = workspace_with(&others).load_text("week.ndjson", &lines(&records));
    assert_eq!(account["held"], 2, "{account}");
    let held = &account["submissions"][0]["held_records"];
    assert_eq!(
        held[0]["findings"][0]["found"],
        "no treatment_cost, no market_value"
    );
}

#[test]
fn what_is_assumed_is_counted_and_said_and_gives_the_figures_of_a_record_that_says_it() {
    let figures = |records: &[Value]| {
        let workspace = workspace_with(OILSEED);
        // Of as many farms, so that the county has a public row.
        let mut records = records.to_vec();
        for (number, record) in records.iter_mut().enumerate() {
            record["field"]["farm_id"] = format!("farm-{number}").into();
        }
        let account = workspace.load_text("week.ndjson", &lines(&records));
        assert_eq!(account["accepted"], records.len(), "{account}");
        let out = workspace.beside("figures").display().to_string();
        workspace.run(&["rollup", "--out", &out]).expect_code(0);
        let table =
            std::fs::read_to_string(workspace.beside("figures/private/county_week_full.csv"));
        workspace
            .run(&["alert", "--week", "2026-W30"])
            .expect_code(0);
        let page = workspace.path().join("alerts/2026-W30/bsm-eggs/alert.html");
        (
            table.expect("a table"),
            std::fs::read_to_string(page).expect("a page"),
        )
    };
    let assumed = [
        lacking(1, &ALL),
        lacking(2, &["market_value"]),
        lacking(3, &[]),
        lacking(4, &[]),
    ];
    let said: Vec<Value> = (1..=4).map(|number| lacking(number, &[])).collect();
    let (table, page) = figures(&assumed);
    let (expected, plain) = figures(&said);
    assert_eq!(cell(&table, "fields_visited"), "4");
    assert_eq!(cell(&table, "fields_with_assumed_economics"), "2");
    assert_eq!(cell(&expected, "fields_with_assumed_economics"), "0");
    for column in ["mean_pressure", "max_pressure", "fields_at_threshold"] {
        assert_eq!(cell(&table, column), cell(&expected, column), "{column}");
    }
    // Of one or two fields no number is given.
    let sentence = "A few records lack a treatment cost, a market price or a plant population; their thresholds \
        use this office&#39;s default for the crop type.";
    assert!(page.contains(sentence), "{page}");
    assert!(!plain.contains("office&#39;s default"), "{plain}");
}

/// The cell of a column in the only row.
fn cell<'a>(table: &'a str, column: &str) -> &'a str {
    let mut lines = table.lines();
    let header = lines.next().expect("a header").split(',');
    let place = header.clone().position(|name| name == column);
    let place = place.unwrap_or_else(|| panic!("{column} in {table}"));
    let row = lines.next().expect("a row");
    row.split(',').nth(place).expect("a cell")
}

#[test]
fn a_sheet_may_leave_amounts_blank_or_have_no_column_for_them() {
    let folder = std::path::Path::new("sample_data/mappings");
    let read = |name: &str| std::fs::read_to_string(folder.join(name)).expect("a worked mapping");
    // The first row's cost and price go; their units, which the mapping knows, do not stand alone.
    let blank = read("wide.csv").replacen("$8.00,16,", ",,", 1);
    let account = loaded(&blank, &read("wide.toml"));
    assert_eq!(account["accepted"], 2, "{account}");
    let held = &account["submissions"][0]["held_records"][0];
    assert_eq!(
        held["findings"][0]["found"],
        "no treatment_cost, no market_value in row 4"
    );

    // Without its column nothing gives the stand; what is left out of the mapping needs no unit.
    let mapping = read("wide.toml");
    let (before, after) = mapping
        .split_once("to = \"/economics/plant_population/count\"")
        .expect("the stand is mapped");
    let start = before.rfind("[[field]]").expect("a field");
    let end = after.find("[[field]]").expect("another field");
    let mapping = format!("{}{}", &before[..start], &after[end..]).replace(
        "ignore = [\"Initials\"]",
        "ignore = [\"Initials\", \"Stand (1000/ac)\"]",
    );
    let account = loaded(&read("wide.csv"), &mapping);
    assert_eq!(account["held"], 3, "{account}");
    let held = &account["submissions"][0]["held_records"][0];
    assert_eq!(held["findings"][0]["found"], "no plant_population in row 4");
}

fn loaded(table: &str, mapping: &str) -> Value {
    let workspace = TestWorkspace::of_region("us:46");
    let table = workspace.write("week.csv", table);
    let mapping = workspace.write("week.toml", mapping);
    let [table, mapping] = [table, mapping].map(|path| path.display().to_string());
    workspace
        .run(&["load", &table, "--mapping", &mapping, "--format", "json"])
        .expect_code(3)
        .json()
}

#[test]
fn a_change_of_the_defaults_leaves_what_was_accepted_alone() {
    let workspace = workspace_with(OILSEED);
    let record = lacking(1, &ALL);
    workspace.load_text("one.ndjson", &lines(std::slice::from_ref(&record)));
    let place = workspace.path().join("bractline.toml");
    let settings = std::fs::read_to_string(&place).expect("settings");
    std::fs::write(
        &place,
        settings.replace("amount = 8.0, per", "amount = 9.0, per"),
    )
    .expect("settings");
    // Identity is by what was sent: the same record is a duplicate, with its gap filled another is not.
    let again = workspace.load_text("two.ndjson", &lines(&[record, lacking(1, &[])]));
    assert_eq!(again["duplicate"], 1, "{again}");
    let held = &again["submissions"][0]["held_records"];
    assert_eq!(held[0]["findings"][0]["code"], "revision-conflict");
}

#[test]
fn a_default_that_no_record_could_give_is_refused() {
    let path = |workspace: &TestWorkspace| workspace.beside("week.ndjson").display().to_string();
    for (before, after, says) in [
        ("amount = 0.16", "amount = 16", "found 16 USD per lb"),
        ("amount = 8.0", "amount = -8.0", "no record may have"),
        (
            "per = \"lb\", currency = \"USD\"",
            "per = \"lb\", currency = \"CAD\"",
            "one currency",
        ),
        (
            "currency = \"USD\" }\nmarket",
            "currency = \"usd\" }\nmarket",
            "no record may have",
        ),
        ("oilseed", "oil-seed", "the crop types are"),
        ("market_value", "market_price", "market_price"),
        ("per = \"lb\"", "per = \"bushel\"", "bushel"),
    ] {
        assert!(OILSEED.contains(before), "{before}");
        let workspace = workspace_with(&OILSEED.replacen(before, after, 1));
        workspace.write("week.ndjson", lines(&[lacking(1, &[])]));
        let run = workspace.run(&["load", &path(&workspace)]).expect_code(1);
        assert!(run.stderr.contains(says), "{after}: {}", run.stderr);
    }
}
