//! How counts scatter by county, season and visit, and whether neighboring counties are alike: what the program
//! writes, and when it writes nothing.

use std::path::Path;

use scouting::region::Region;
use serde_json::{Value, json};

use crate::support::dispersion::{COUNTIES, DAY, SMALL, Scouting, number, rolled_up, rows};
use crate::support::{TestWorkspace, text_of};

#[test]
fn the_scatter_rests_on_small_counties_too_and_is_private() {
    let (workspace, _) = rolled_up(&Scouting::season());
    let region = Region::built_in("us:46").expect("South Dakota");
    let small = &region.counties()[SMALL].id;
    let package = workspace.beside("package");
    let export = ["export", "--out", &text_of(&package)];
    workspace.run(&export).expect_code(0);
    let out = workspace.beside("again");
    let place = text_of(&out);
    let arguments = [
        "rollup",
        "--dispersion",
        "--out",
        &place,
        "--format",
        "json",
    ];
    let report = workspace.run(&arguments).expect_code(0).json();
    let names = |kind: &str| -> Vec<String> {
        let files = report[kind].as_array().expect("files").iter();
        let files = files.map(|file| Path::new(file.as_str().expect("a path")));
        files
            .map(|file| text_of(Path::new(file.file_name().expect("a name"))))
            .collect()
    };
    let scatter = [
        "county_season_dispersion.csv",
        "county_season_dispersion.parquet",
        "season_power_law.csv",
        "season_power_law.parquet",
        "visit_dispersion.parquet",
    ];
    for name in scatter {
        assert!(names("private").iter().any(|file| file == name), "{name}");
        assert!(!names("public").iter().any(|file| file == name), "{name}");
        assert!(out.join("private").join(name).exists(), "{name}");
    }
    // The county with two fields is in the scatter, and in no public table.
    let counties = rows(&out.join("private"), "county_season_dispersion.csv");
    let row = counties.iter().find(|row| row["county_id"] == *small);
    assert_eq!(row.expect("a row")["fields"], "2");
    let public = rows(&package, "county_week.csv");
    // All others in the first week, and one in the second.
    assert_eq!(public.len(), COUNTIES - 1 + 1);
    assert!(public.iter().all(|row| row["county_id"] != *small));
    let columns = std::fs::read_to_string(out.join("private/COLUMNS.md")).expect("the page");
    for name in scatter {
        assert!(columns.contains(name), "{name}");
    }
}

#[test]
fn k_says_how_many_visits_it_rests_on_and_rates_have_none() {
    let mut scouting = Scouting::begin();
    let mut visits = Vec::new();
    for field in 0..4 {
        // Something was found in two fields of four.
        let mut eggs = scouting.visit(0, field, DAY);
        if field > 1 {
            eggs["sites"] = json!([{"site": 1, "heads": vec![[0; 6]; 5]}]);
        }
        visits.push(eggs);
        let mut traps = scouting.visit(0, 10 + field, DAY);
        traps["protocol"] = "sunflower-moth-traps".into();
        traps["crop_stage"] = "R5.1".into();
        traps["sites"] = json!([{"site": 1, "traps": [
            {"catch": 3 * field, "nights": 7}, {"catch": 40, "nights": 3}]}]);
        visits.push(traps);
    }
    let (_workspace, out) = rolled_up(&visits);
    let found = rows(&out, "county_season_dispersion.csv");
    let said: Vec<[&str; 5]> = found
        .iter()
        .map(|row| ["protocol", "fields", "visits", "units", "k_undefined"].map(|name| &*row[name]))
        .collect();
    assert_eq!(
        said,
        [
            ["bsm-eggs", "4", "2", "40", ""],
            ["sunflower-moth-traps", "4", "0", "0", "rates"],
        ]
    );
    assert!(number(&found[0], "k") > 0.0);
    assert_eq!(found[1]["k"], "");
    let laws = rows(&out, "season_power_law.csv");
    let of_traps = laws
        .iter()
        .find(|law| law["protocol"] == "sunflower-moth-traps" && law["samples"] == "units");
    let of_traps = of_traps.expect("a row that says so");
    assert_eq!(of_traps["b"], "");
    assert_eq!(
        (&*of_traps["visits"], &*of_traps["visits_left_out"]),
        ("0", "4")
    );
}

#[test]
fn a_roll_up_without_the_flag_writes_none_of_it_and_a_week_has_no_season() {
    let workspace = TestWorkspace::of_region("us:46");
    let names: Vec<String> = workspace.rolled_up().into_keys().collect();
    assert!(
        !names.iter().any(|name| name.contains("dispersion")),
        "{names:?}"
    );
    let out = text_of(&workspace.beside("week"));
    let run = workspace
        .run(&[
            "rollup",
            "--dispersion",
            "--week",
            "2026-W30",
            "--out",
            &out,
        ])
        .expect_code(2);
    assert!(run.stderr.contains("--week"), "{run:?}");
    // A store without a visit has tables without a row.
    workspace
        .run(&["rollup", "--dispersion", "--out", &out])
        .expect_code(0);
    for name in ["county_season_dispersion.csv", "season_power_law.csv"] {
        assert_eq!(
            rows(&Path::new(&out).join("private"), name).len(),
            0,
            "{name}"
        );
    }
}

#[test]
fn a_season_has_its_own_scatter() {
    let mut scouting = Scouting::begin();
    let visits: Vec<Value> = ["2025-07-22", DAY]
        .iter()
        .flat_map(|day| (0..4).map(|field| (field, *day)).collect::<Vec<_>>())
        .map(|(field, day)| scouting.visit(0, field, day))
        .collect();
    let (workspace, out) = rolled_up(&visits);
    let both = rows(&out, "county_season_dispersion.csv");
    assert_eq!(both.len(), 2);
    assert!(both[0]["k"] != both[1]["k"] && !both[0]["k"].is_empty());
    let one = text_of(&workspace.beside("one"));
    workspace
        .run(&["rollup", "--dispersion", "--season", "2026", "--out", &one])
        .expect_code(0);
    let one = &Path::new(&one).join("private");
    assert_eq!(rows(one, "county_season_dispersion.csv"), both[1..]);
    assert_eq!(
        rows(one, "season_power_law.csv"),
        rows(&out, "season_power_law.csv")[2..]
    );
}
