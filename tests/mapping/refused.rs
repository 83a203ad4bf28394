//! Mapping files and sheets that are refused, with place and remedy.

use intake::mapping::{MAPPING_SCHEMA, Mapping};
use intake::sheet::table::{Cell, Sheet};
use scouting::failure::Failure;
use serde_json::Value;

use super::{base_sheet, mapping, records, sheet, text};
use crate::support::mapping::{BASE, mapping_cases};

fn refusal(mapping_text: &str, sheets: &[Sheet]) -> Failure {
    mapping(mapping_text)
        .records(sheets, "week30.xlsx")
        .expect_err("the file is refused")
}

#[test]
fn a_file_that_the_mapping_does_not_fit_is_refused_with_what_was_found() {
    let unknown = base_sheet(|rows| {
        rows[0].push(text("Initials"));
        rows[0].push(Cell::Empty);
        rows[1].extend([text("zz"), Cell::Number(4.0)]);
    });
    let cases: Vec<(String, Vec<Sheet>, &[&str])> = vec![
        (
            BASE.to_owned(),
            vec![unknown.clone()],
            &["I \"Initials\" (I2: \"zz\")", "J \"\" (J2: 4)", "ignore"],
        ),
        (
            BASE.replace("\"Area\"", "[\"Acres\", \"Size\"]"),
            vec![base_sheet(|_| {})],
            &[
                "/field/area_ha (\"Acres\" or \"Size\")",
                "A \"Id\", B \"Field\"",
                "optional",
            ],
        ),
        (
            BASE.to_owned(),
            vec![base_sheet(|rows| rows.insert(0, vec![text("Week 30")]))],
            &["headerRows = [2]"],
        ),
        (
            BASE.to_owned(),
            vec![base_sheet(|rows| rows[0].push(text("eggs")))],
            &["more than one column is called \"Eggs\": H, I"],
        ),
        (
            BASE.to_owned(),
            vec![base_sheet(|_| {}), sheet("Other", vec![vec![text("x")]])],
            &["2 sheets hold data", "\"Visits\", \"Other\""],
        ),
        (
            BASE.replace("[rows]", "[dialect]\nsheetName = \"visits\"\n\n[rows]"),
            vec![base_sheet(|_| {}), sheet("Other", vec![vec![text("x")]])],
            &["does not mention the sheet \"Other\"", "ignoreSheets"],
        ),
        (
            BASE.replace("name = \"Area\"", "column = \"E\""),
            vec![base_sheet(|_| {})],
            &["column E is mapped to both"],
        ),
    ];
    for (mapping_text, sheets, words) in cases {
        let failure = refusal(&mapping_text, &sheets).to_string();
        for word in words {
            assert!(failure.contains(word), "{word:?} is not in: {failure}");
        }
        assert!(
            failure.contains("week30.xlsx") && failure.contains("\nhelp:"),
            "{failure}"
        );
        assert_eq!(failure.lines().count(), 3, "{failure}");
    }
    let ignoring = BASE.replace(
        "target =",
        "ignore = [\"initials\", { column = \"J\" }]\ntarget =",
    );
    assert!(records(&ignoring, unknown)[0].document.is_ok());
    let optional = BASE.replace("[[field]]\nname = \"Id\"", "[[field]]\nname = \"Farm\"\nto = \"/field/farm_id\"\noptional = true\n\n[[field]]\nname = \"Id\"");
    assert!(records(&optional, base_sheet(|_| {}))[0].document.is_ok());
}

#[test]
fn the_program_takes_what_the_schema_takes_and_makes_sense() {
    let schema: Value = serde_json::from_str(MAPPING_SCHEMA).expect("the schema is JSON");
    jsonschema::draft202012::meta::validate(&schema).expect("the schema keeps its meta-schema");
    let validator = jsonschema::draft202012::new(&schema).expect("the schema compiles");
    for case in mapping_cases() {
        assert_eq!(
            validator.is_valid(&case.document),
            case.keeps_schema,
            "the schema on {}",
            case.name
        );
        let text = toml::to_string(&case.document).expect("TOML");
        match Mapping::read(&text, "a.toml") {
            Ok(_) => assert!(case.is_taken, "{} was taken", case.name),
            Err(failure) => {
                assert!(!case.is_taken, "{}: {failure}", case.name);
                let words = failure.to_string();
                assert!(
                    words.contains("\nwhere: a.toml") && words.contains("\nhelp:"),
                    "{words}"
                );
                assert_eq!(words.lines().count(), 3, "{words}");
            }
        }
    }
}

#[test]
fn a_mapping_that_is_no_toml_names_the_line() {
    let failure = Mapping::read("mapping = \"1\"\ntarget = \n", "a.toml").expect_err("no TOML");
    assert!(failure.to_string().contains("a.toml, line 2"), "{failure}");
    let failure =
        Mapping::read(&BASE.replace("rowIs", "rowsAre"), "a.toml").expect_err("no member");
    assert!(failure.to_string().contains("rowsAre"), "{failure}");
}
