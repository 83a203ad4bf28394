//! Issued alerts: frozen with their hashes, corrected by number, built again byte for byte after later
//! loads, and numbered once whoever else issues.

use std::collections::{BTreeMap, BTreeSet};

use scouting::region::Region;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use crate::support::issuing::{COUNTIES, loaded, visits};
use crate::support::{TestWorkspace, csv_rows, folder_bytes, lines};

fn issue(workspace: &TestWorkspace, week: &str) -> Value {
    let run = workspace.run(&["alert", "--week", week, "--issue", "--format", "json"]);
    run.expect_code(0).json()
}

fn files_of(workspace: &TestWorkspace, number: u32) -> BTreeMap<String, Vec<u8>> {
    folder_bytes(&workspace.path().join(format!("alerts/issued/{number:04}")))
}

fn text(files: &BTreeMap<String, Vec<u8>>, name: &str) -> String {
    String::from_utf8(files[name].clone()).expect("UTF-8")
}

#[test]
fn an_issued_alert_comes_out_byte_for_byte_after_later_loads_changed_the_figures() {
    let (workspace, all) = loaded();
    let note = workspace.write("note.md", "Moths *fly*.\n\n<script>alert(1)</script>\n");
    let note = note.display().to_string();
    let run = workspace.run(&[
        "alert", "--week", "2026-W30", "--note", &note, "--issue", "--format", "json",
    ]);
    let first = run.expect_code(0).json();
    assert_eq!(
        (&first["number"], &first["store_version"]),
        (&json!(1), &json!(1))
    );
    let frozen = files_of(&workspace, 1);
    for file in first["files"].as_array().expect("files") {
        let bytes = &frozen[file["name"].as_str().expect("a name")];
        let hash = Sha256::digest(bytes);
        let hash: String = hash.iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(file["sha256"], hash);
        assert_eq!(file["bytes"], bytes.len());
    }
    assert_eq!(frozen.len(), 7);
    assert_eq!(first["rows_made_public"], 3);

    // Corrections of four fields of four farms in each county, and late visits; other settings; and no note any more.
    let region = Region::built_in("us:46").expect("South Dakota");
    let mut later = all[all.len() - 14..].to_vec();
    for visit in &mut later {
        visit["revision"] = json!(2);
        visit["sites"][0]["heads"][0][0] = json!(60);
    }
    later.extend(visits(&region, "46099", 5, "2026-07-22", 3));
    workspace.load_text("later.ndjson", &lines(&later));
    std::fs::remove_file(&note).expect("the note is there");
    let settings = workspace.path().join("bractline.toml");
    let changed = std::fs::read_to_string(&settings).expect("settings");
    std::fs::write(
        &settings,
        changed.replace("min_fields = 3", "min_fields = 4"),
    )
    .expect("settings");

    let run = workspace.run(&["alert", "--as-issued", "1", "--format", "json"]);
    let again = run.expect_code(0).json();
    assert_eq!(again["same"], true, "{again:#}");
    let out = workspace.beside("again");
    let out_name = out.display().to_string();
    let run = workspace.run(&["alert", "--as-issued", "1", "--out", &out_name]);
    assert!(
        run.expect_code(0)
            .stdout
            .contains("each identical byte for byte")
    );
    assert!(folder_bytes(&out) == frozen, "other bytes");

    // The update differs, says what it replaces and what changed, and is frozen in its turn.
    let run = workspace.run(&["alert", "--reissue", "1", "--format", "json"]);
    let second = run.expect_code(0).json();
    assert_eq!(
        (&second["number"], &second["replaces"]),
        (&json!(2), &json!(1))
    );
    assert!(
        files_of(&workspace, 1) == frozen,
        "the alert that is replaced stays as it was"
    );
    let corrected = files_of(&workspace, 2);
    // Each county's row is made again, since enough of its fields have changed; the county that had too few has one now.
    let editions = |files: &BTreeMap<String, Vec<u8>>| -> Vec<[String; 3]> {
        let table = text(files, "county_week.csv");
        let columns = ["county_id", "edition", "fields_visited"];
        let rows = csv_rows(table.as_bytes()).into_iter();
        rows.map(|row| columns.map(|name| row[name].clone()))
            .collect()
    };
    let expected = |edition: &str| COUNTIES.map(|county| [county, edition, "4"].map(str::to_owned));
    assert_eq!(editions(&frozen), expected("1"));
    let late = ["46099", "1", "5"].map(str::to_owned);
    let twice = [expected("2").to_vec(), vec![late]].concat();
    assert_eq!(editions(&corrected), twice);
    assert_eq!(second["rows_made_public"], 4);
    let (page, mail) = (text(&corrected, "alert.html"), text(&corrected, "alert.md"));
    for (form, says) in [
        (
            &page,
            "It replaces <a href=\"../0001/alert.html\">alert 1</a>",
        ),
        (
            &page,
            "(was: no figures: not visited, or too few fields to publish)",
        ),
        (
            &mail,
            "**Update.** It includes reports received or corrected since. It replaces alert 1.",
        ),
        (
            &mail,
            "(was: no figures: not visited, or too few fields to publish)",
        ),
    ] {
        let form = form.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(form.contains(says), "{says}: {form}");
    }
    assert!(
        page.contains("id=\"changes\"") && page.contains("<li><strong>"),
        "{page}"
    );
    workspace.run(&["alert", "--as-issued", "2"]).expect_code(0);

    // A second edition is the last: four more late fields change no row, and are said elsewhere.
    let mut latest = visits(&region, "46013", 8, "2026-07-23", 9).split_off(4);
    for (place, visit) in latest.iter_mut().enumerate() {
        visit["field"]["lat"] = json!(visit["field"]["lat"].as_f64().expect("degrees") + 0.01);
        visit["field"]["field_id"] = format!("F-latest-{place}").into();
    }
    workspace.load_text("latest.ndjson", &lines(&latest));
    let run = workspace.run(&["alert", "--reissue", "2", "--format", "json"]);
    let third = run.expect_code(0).json();
    assert_eq!(third["rows_made_public"], 1, "{third:#}");
    let last = files_of(&workspace, 3);
    assert_eq!(last["county_week.csv"], corrected["county_week.csv"]);
    let elsewhere = text(&last, "elsewhere_week.csv");
    assert!(elsewhere.contains("elsewhere in the region"), "{elsewhere}");
    assert!(
        files_of(&workspace, 1) == frozen && files_of(&workspace, 2) == corrected,
        "alerts that are replaced stay as they were"
    );
    for number in ["1", "2", "3"] {
        let run = workspace.run(&["alert", "--as-issued", number, "--format", "json"]);
        assert_eq!(run.expect_code(0).json()["same"], true, "alert {number}");
    }

    let listed = workspace
        .run(&["alert", "--list", "--format", "json"])
        .expect_code(0)
        .json();
    let numbers: Vec<_> = listed["alerts"]
        .as_array()
        .expect("alerts")
        .iter()
        .map(|a| &a["number"])
        .collect();
    assert_eq!(numbers, [1, 2, 3]);
    for (arguments, says) in [
        (
            &["alert", "--reissue", "1"][..],
            "replaced by alert 2 already",
        ),
        (
            &["alert", "--week", "2026-W30", "--issue"],
            "issued already, as alert 3",
        ),
        (&["alert", "--as-issued", "7"], "no alert 7"),
    ] {
        let run = workspace.run(arguments).expect_code(1);
        assert!(run.stderr.contains(says), "{run:?}");
    }
    let verified = workspace
        .run(&["store", "verify", "--format", "json"])
        .expect_code(0)
        .json();
    assert_eq!(verified["alerts"], 3, "{verified:#}");
}

#[test]
fn what_changed_under_an_alert_is_told_file_by_file() {
    let workspace = TestWorkspace::of_invented_region();
    let region = Region::from_file(
        &workspace.path().join("boundaries.json"),
        "county_id",
        "county_name",
    );
    let region = region.expect("the invented region");
    let county = region.counties()[0].id.clone();
    workspace.load_text(
        "visits.ndjson",
        &lines(&visits(&region, &county, 5, "2026-07-21", 1)),
    );
    issue(&workspace, "2026-W30");
    // The user's own boundaries are kept with the alert, so a new file changes nothing …
    let boundaries = workspace.path().join("boundaries.json");
    let kept = std::fs::read_to_string(&boundaries).expect("boundaries");
    let name = &region.counties()[0].name;
    std::fs::write(&boundaries, kept.replace(name.as_str(), "Elsewhere")).expect("written");
    workspace.run(&["alert", "--as-issued", "1"]).expect_code(0);
    // … but a change of what was kept is found out.
    for (path, _) in crate::support::contents(&workspace.path().join("alerts/boundaries")) {
        std::fs::write(path, kept.replace(name.as_str(), "Elsewhere")).expect("written");
    }
    let run = workspace.run(&["alert", "--as-issued", "1"]).expect_code(1);
    assert!(
        run.stderr
            .contains("a file that alert 1 is based on has changed"),
        "{run:?}"
    );
}

#[test]
fn several_that_issue_at_once_get_numbers_of_their_own() {
    let region = Region::built_in("us:46").expect("South Dakota");
    let days = ["2026-07-07", "2026-07-14", "2026-07-21", "2026-07-28"];
    let weeks = ["2026-W28", "2026-W29", "2026-W30", "2026-W31"];
    let workspace = TestWorkspace::of_region("us:46");
    for (place, day) in days.into_iter().enumerate() {
        workspace.load_text(
            &format!("{place}"),
            &lines(&visits(&region, "46013", 4, day, 1)),
        );
    }
    // As a store of an earlier version, without the table: all of them make it.
    std::fs::remove_dir_all(workspace.path().join("store/alerts")).expect("the table");
    workspace.run(&["store", "verify"]).expect_code(0);
    let report: Vec<Value> = std::thread::scope(|scope| {
        let issues = weeks.map(|week| scope.spawn(|| issue(&workspace, week)));
        issues.map(|issue| issue.join().expect("an issue")).into()
    });
    let numbers: BTreeSet<i64> = report
        .iter()
        .filter_map(|alert| alert["number"].as_i64())
        .collect();
    assert_eq!(numbers, BTreeSet::from([1, 2, 3, 4]));
    for alert in &report {
        let number = alert["number"].as_u64().expect("a number") as u32;
        let page = text(&files_of(&workspace, number), "alert.html");
        assert!(
            page.contains(&format!("Alert {number}, issued ")),
            "{number}"
        );
        workspace
            .run(&["alert", "--as-issued", &number.to_string()])
            .expect_code(0);
    }
    // Of two updates of the same alert one is asked to update the other's.
    let codes: BTreeSet<Option<i32>> = std::thread::scope(|scope| {
        let two =
            [(); 2].map(|()| scope.spawn(|| workspace.run(&["alert", "--reissue", "1"]).code));
        two.map(|run| run.join().expect("a run")).into()
    });
    assert_eq!(codes, BTreeSet::from([Some(0), Some(1)]));
    workspace.run(&["store", "verify"]).expect_code(0);
    let folders: Vec<_> = std::fs::read_dir(workspace.path().join("alerts/issued"))
        .expect("a folder")
        .collect();
    assert_eq!(folders.len(), 5, "nothing is left of what was overtaken");
}
