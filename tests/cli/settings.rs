//! `init` and the settings of a workspace.

use crate::support::cli::assert_message;
use crate::support::snapshots::assert_text;
use crate::support::{TestWorkspace, bractline, contents, lines, text_of, visit};

#[test]
fn settings_that_cannot_be_are_refused_and_named() {
    let workspace = TestWorkspace::of_region("us:46");
    let settings = workspace.path().join("bractline.toml");
    let good = std::fs::read_to_string(&settings).expect("init writes the settings");
    for (from, to, says) in [
        (
            "first_day =",
            "frist_day =",
            vec!["line 26", "frist_day", "first_day"],
        ),
        ("[office]", "[offise]", vec!["offise", "office"]),
        (
            "min_fields = 3",
            "min_fields = 2",
            vec!["min_fields", "3 or more"],
        ),
        ("min_fields = 3", "min_fields = -1", vec!["-1"]),
        ("min_fields = 3", "min_fields = \"3\"", vec!["string"]),
        (
            "min_farms = 3",
            "min_farms = 0",
            vec!["min_farms", "3 or more"],
        ),
        (
            "certainty = 0.9",
            "certainty = 90",
            vec!["[calls] certainty = 90", "above 0.5 and below 1"],
        ),
        (
            "certainty = 0.9",
            "certainty = 0.5",
            vec!["[calls] certainty = 0.5", "above 0.5 and below 1"],
        ),
        (
            "point_grid_km = 10.0",
            "point_grid_km = 0.0",
            vec!["point_grid_km"],
        ),
        (
            "point_grid_km = 10.0",
            "point_grid_km = nan",
            vec!["point_grid_km"],
        ),
        (
            "point_grid_km = 10.0",
            "point_grid_km = 2.5",
            vec![
                "[disclosure] point_grid_km = 2.5",
                "bractline.toml",
                "5, 10, 20 or 40",
            ],
        ),
        (
            "point_grid_km = 10.0",
            "point_grid_km = 80",
            vec!["point_grid_km = 80", "5, 10, 20 or 40"],
        ),
        (
            "point_grid_km = 10.0",
            "point_grid_km = 12.0",
            vec!["point_grid_km = 12", "5, 10, 20 or 40"],
        ),
        (
            "\"06-01\"",
            "\"02-30\"",
            vec!["first_day", "02-30", "06-01"],
        ),
        ("\"06-01\"", "\"13-01\"", vec!["first_day", "13-01"]),
        ("\"09-30\"", "\"9-30\"", vec!["last_day", "9-30"]),
        (
            "\"09-30\"",
            "\"30 September\"",
            vec!["last_day", "30 September"],
        ),
        (
            "boundaries = \"us:46\"",
            "boundaries = \"us:99\"",
            vec!["99", "46 South Dakota"],
        ),
        (
            "boundaries = \"us:46\"",
            "boundaries = \"counties.geojson\"",
            vec!["counties.geojson"],
        ),
        (
            "system = \"us\"",
            "system = \"imperial\"",
            vec!["imperial", "us", "metric"],
        ),
        (
            "heat_from = \"01-01\"",
            "heat_from = \"01-01\"\ntemperature_unit = \"K\"",
            vec!["`K`", "`C` or `F`"],
        ),
        ("[region]", "[region", vec!["line 3"]),
    ] {
        assert_eq!(good.matches(from).count(), 1, "{from}");
        std::fs::write(&settings, good.replace(from, to)).expect("new settings");
        let submission = workspace.write("one.ndjson", lines(&[visit("one")]));
        let run = workspace
            .run(&["load", &text_of(&submission)])
            .expect_code(1);
        assert_message(&run, &says);
    }
    std::fs::write(&settings, &good).expect("the settings");
    let info = workspace
        .run(&["store", "info", "--format", "json"])
        .expect_code(0);
    assert_eq!(info.json()["received"], 0, "nothing was loaded meanwhile");
}

#[test]
fn init_writes_every_setting_with_its_default_and_a_comment() {
    let workspace = TestWorkspace::of_region("us:46");
    let text = std::fs::read_to_string(workspace.path().join("bractline.toml")).expect("settings");
    assert_text("settings", &text);
    for setting in [
        "boundaries = \"us:46\"",
        "first_day = \"06-01\"",
        "last_day = \"09-30\"",
        "min_fields = 3",
        "min_farms = 3",
        "min_fields_without_farms = 5",
        "level = \"survey\"",
        "district_property = \"\"",
        "point_grid_km = 10.0",
        "system = \"us\"",
        "name = \"\"",
        "contact = \"\"",
    ] {
        assert!(text.contains(setting), "no {setting} in:\n{text}");
    }
    for section in text.split("\n[").skip(1) {
        assert!(
            section.contains("\n# "),
            "a section without a comment: [{section}"
        );
    }
}

#[test]
fn init_refuses_a_folder_that_holds_anything_and_a_region_that_it_does_not_know() {
    let workspace = TestWorkspace::of_region("us:46");
    let path = text_of(&workspace.path());
    let before = contents(&workspace.path());
    let run = bractline(&["init", &path, "--region", "us:38"]).expect_code(1);
    assert_message(&run, &["it is not empty", "a new folder"]);
    assert_eq!(
        contents(&workspace.path()),
        before,
        "a refused init changes nothing"
    );

    let new = workspace.beside("new");
    for region in ["us:99", "us:", "us:4x", "no-such-file.geojson"] {
        let run = bractline(&["init", &text_of(&new), "--region", region]).expect_code(1);
        assert_message(&run, &[]);
        assert!(
            !new.exists(),
            "a refused init leaves nothing behind: {region}"
        );
    }
}
