//! Packages for researchers: nothing private is in a public one, which publishes what it writes, the same choices give
//! the same bytes, and what cannot be made is refused.

use std::path::Path;
use std::process::Stdio;

use scouting::region::Region;
use serde_json::{Value, json};

use crate::privacy::Marked;
use crate::support::export::{FULL, GRID, package, tables, unpacked};
use crate::support::issuing::{loaded, visits};
use crate::support::privacy::readable;
use crate::support::{TestWorkspace, assert_private, folder_bytes, lines, text_of};

/// Marked ids, notes, sides, outlines and points in every member that holds them.
#[test]
fn no_mark_of_a_visit_is_in_any_byte_of_a_public_package_or_one_of_the_grid() {
    let workspace = TestWorkspace::of_region("us:46");
    let marked = Marked::season();
    workspace.load_text("marked.ndjson", &lines(&marked.visits));
    for (name, options) in [("public", &[][..]), ("grid", &GRID), ("full", &FULL)] {
        let (out, said) = package(&workspace, name, options);
        let mut found = 0;
        for (file, bytes) in unpacked(&folder_bytes(&out)) {
            let text = readable(&out.join(&file), &bytes);
            found += marked
                .marks
                .iter()
                .filter(|mark| text.contains(mark.as_str()))
                .count();
        }
        assert_eq!(found > 0, name == "full", "{name}: {found}");
        if name == "grid" {
            // The five fields of the county that is shown, and no others.
            assert_eq!(said["tables"][1], json!(["field_week", 5]));
        }
    }
}

/// Visits of a county with two fields: they are in no row. Other counts there move no byte of a table; one more egg in
/// a county with a row does.
#[test]
fn what_is_withheld_moves_no_byte() {
    let region = Region::built_in("us:46").expect("South Dakota");
    let made = |small_eggs: usize, small_fields: usize, shown_eggs: usize| {
        let workspace = TestWorkspace::of_region("us:46");
        let day = "2026-07-14";
        let mut all = visits(&region, "46013", 5, day, shown_eggs);
        all.extend(visits(&region, "46099", small_fields, day, small_eggs));
        workspace.load_text("visits.ndjson", &lines(&all));
        [("public", &[][..]), ("grid", &GRID)]
            .map(|(name, options)| tables(&package(&workspace, name, options).0))
    };
    let [before, other, more, moved] =
        [made(1, 2, 1), made(30, 2, 1), made(3, 1, 1), made(1, 2, 2)];
    for level in 0..2 {
        assert!(
            before[level] == other[level],
            "the counts of a county that is withheld are shown"
        );
        assert!(
            before[level] == more[level],
            "how many fields are withheld is shown"
        );
        assert!(before[level] != moved[level], "nothing moves at all");
    }
}

#[test]
fn the_same_choices_give_the_same_bytes_whatever_comes_in_later() {
    let (workspace, mut later) = loaded();
    workspace
        .run(&["alert", "--week", "2026-W30", "--issue"])
        .expect_code(0);
    let levels = [
        ("public", &[][..]),
        ("grid", &GRID[..]),
        ("full", &FULL[..]),
    ];
    let mut before = Vec::new();
    let mut issued = Vec::new();
    for (name, options) in levels {
        let (out, said) = package(&workspace, name, options);
        assert_eq!(said["store_version"], 1);
        before.push(folder_bytes(&out));
        let options = [options, &["--as-issued", "1"]].concat();
        issued.push(folder_bytes(
            &package(&workspace, &format!("{name}-issued"), &options).0,
        ));
    }
    for visit in &mut later {
        visit["revision"] = 2.into();
        visit["sites"][0]["heads"][0][0] = 99.into();
    }
    workspace.load_text("later.ndjson", &lines(&later));
    for (place, (name, options)) in levels.into_iter().enumerate() {
        let (newest, _) = package(&workspace, &format!("{name}-newest"), options);
        assert!(folder_bytes(&newest) != before[place], "{name}");
        let version = [options, &["--store-version", "1"]].concat();
        let (again, _) = package(&workspace, &format!("{name}-again"), &version);
        assert!(
            folder_bytes(&again) == before[place],
            "{name} of the same version differs"
        );
        let number = [options, &["--as-issued", "1"]].concat();
        let (again, _) = package(&workspace, &format!("{name}-issued-again"), &number);
        assert!(
            folder_bytes(&again) == issued[place],
            "{name} as issued differs"
        );
        assert!(tables(&again).len() >= 8);
    }
}

#[test]
fn what_cannot_be_made_is_refused_and_publishes_and_leaves_nothing() {
    let (workspace, _) = loaded();
    let out = text_of(&workspace.beside("out"));
    for (options, code, says) in [
        (&["--level", "full"][..], 1, "TERMS.md"),
        (&["--level", "grid"], 1, "TERMS.md"),
        (&["--private"], 1, "--level grid and --level full"),
        (&["--level", "secret"], 2, "public"),
        (&["--store-version", "99"], 1, "has no version 99"),
        (&["--as-issued", "3"], 1, "3"),
        (
            &["--as-issued", "1", "--store-version", "1"],
            2,
            "cannot be used with",
        ),
    ] {
        let run = workspace.run(&[&["export", "--out", &out], options].concat());
        let run = run.expect_code(code);
        assert!(run.stderr.contains(says), "{options:?}: {run:?}");
        assert!(!Path::new(&out).exists(), "{options:?}");
    }
    // What is there would be handed on with the package.
    let full = workspace.beside("full");
    package(&workspace, "full", &FULL);
    let before = folder_bytes(&full);
    let run = workspace
        .run(&["export", "--out", &text_of(&full)])
        .expect_code(1);
    assert!(run.stderr.contains("not empty"), "{run:?}");
    assert!(folder_bytes(&full) == before);
    for (from, to) in [
        ("license = \"\"", "license = \"do as you like\""),
        ("license_url = \"\"", "license_url = \"somewhere\""),
    ] {
        workspace.change_setting(from, to);
        let run = workspace.run(&["export", "--out", &out]).expect_code(1);
        assert!(run.stderr.contains("[data]"), "{run:?}");
        workspace.change_setting(to, from);
    }
    assert_eq!(published_rows(&workspace), 0);
}

/// How many rows of counties are public.
fn published_rows(workspace: &TestWorkspace) -> u64 {
    let query = "select count(*) as n from county_week";
    let run = workspace.run(&["sql", query, "--format", "json"]);
    run.expect_code(0).json()[0]["n"].as_u64().expect("a count")
}

#[test]
fn a_public_package_publishes_its_rows_once_and_says_how_many() {
    let (workspace, _) = loaded();
    // Private packages, and those of a version, publish nothing.
    for (name, options) in [
        ("grid", &GRID[..]),
        ("full", &FULL),
        ("version", &["--store-version", "1"]),
        ("other", &["--season", "2025"]),
    ] {
        let (out, said) = package(&workspace, name, options);
        assert_eq!(said["rows_made_public"], 0, "{name}");
        let public = std::fs::read_to_string(out.join("county_week.csv")).expect("a table");
        assert_eq!(public.lines().count(), 1, "{name}: {public}");
        assert_eq!(published_rows(&workspace), 0, "{name}");
    }
    // Three counties of four fields in two weeks; the two fields of the fourth are in no row.
    let (first, said) = package(&workspace, "first", &["--season", "2026"]);
    assert_eq!(said["rows_made_public"], 6);
    assert_eq!(said["tables"][0], json!(["county_week", 6]));
    assert_eq!(published_rows(&workspace), 6);
    let text = std::fs::read_to_string(first.join("county_week.csv")).expect("a table");
    assert!(!text.contains("46099"), "{text}");
    let (again, said) = package(&workspace, "again", &["--season", "2026"]);
    assert_eq!(said["rows_made_public"], 0);
    assert!(folder_bytes(&first) == folder_bytes(&again));
    let out = text_of(&workspace.beside("text"));
    let run = workspace.run(&["export", "--out", &out]).expect_code(0);
    assert!(
        run.stdout
            .contains("0 rows became public with this package"),
        "{run:?}"
    );
    // What is public is so for the roll-up and the alert too.
    let figures = text_of(&workspace.beside("figures"));
    let run = workspace.run(&["rollup", "--out", &figures, "--format", "json"]);
    let said = run.expect_code(0).json();
    assert_eq!(said["in_public_rows"], 6, "{said:#}");
    assert_eq!(said["not_public_yet"], 0, "{said:#}");
}

/// Each row becomes public once, whoever comes first, and what is written is the same.
#[test]
fn two_exports_at_once_publish_each_row_once() {
    let (workspace, _) = loaded();
    let started = ["one", "two"].map(|name| {
        let out = text_of(&workspace.beside(name));
        let mut command = workspace.command(&["export", "--out", &out, "--format", "json"]);
        command.stdout(Stdio::piped());
        command.spawn().expect("the program starts")
    });
    let made = started.map(|child| {
        let output = child.wait_with_output().expect("the program ends");
        assert!(output.status.success(), "{output:?}");
        let said: Value = serde_json::from_slice(&output.stdout).expect("JSON");
        said["rows_made_public"].as_u64().expect("a count")
    });
    assert_eq!(made.iter().sum::<u64>(), 6, "{made:?}");
    assert_eq!(published_rows(&workspace), 6);
    let [one, two] = ["one", "two"].map(|name| folder_bytes(&workspace.beside(name)));
    assert!(one == two);
}

#[test]
fn a_row_that_was_taken_back_is_in_no_package_until_its_week_is_issued_again() {
    let (workspace, _) = loaded();
    let issue = ["alert", "--week", "2026-W30", "--issue"];
    workspace.run(&issue).expect_code(0);
    let rows = |name: &str, options: &[&str]| {
        let (out, said) = package(&workspace, name, options);
        let text = std::fs::read_to_string(out.join("county_week.csv")).expect("a table");
        (
            text.matches("2026-W30").count(),
            said["rows_made_public"].clone(),
        )
    };
    assert_eq!(rows("as-issued", &["--as-issued", "1"]), (3, json!(0)));
    let reason = [
        "alert",
        "--withdraw",
        "1",
        "--reason",
        "counts of another week",
    ];
    workspace.run(&reason).expect_code(0);
    assert_eq!(rows("withdrawn", &["--as-issued", "1"]), (0, json!(0)));
    // The other week becomes public, and this one not by the way.
    assert_eq!(rows("now", &[]), (0, json!(3)));
    assert_eq!(rows("still", &[]), (0, json!(0)));
    workspace.run(&issue).expect_code(0);
    assert_eq!(rows("back", &[]), (3, json!(0)));
}

/// Terms for whoever takes rows of single fields, and files that nobody else can read.
#[test]
fn a_private_package_carries_its_terms_and_is_for_its_owner_alone() {
    let (workspace, _) = loaded();
    workspace.change_setting("name = \"\"", "name = \"Invented Office\"");
    for (name, options) in [("grid", &GRID), ("full", &FULL)] {
        let (out, _) = package(&workspace, name, options);
        let terms = std::fs::read_to_string(out.join("TERMS.md")).expect("the terms");
        for part in [
            "**Purpose.**",
            "**No re-identification.**",
            "**No passing on.**",
            "at least 3 fields of at",
            "| To be deleted by | \\_",
            "| Handed over by (office) | Invented Office |",
        ] {
            assert!(terms.contains(part), "{part}: {terms}");
        }
        assert!(!terms.contains('{') && !terms.contains('}'), "{terms}");
        #[cfg(unix)]
        assert_private(&out);
    }
    let (public, _) = package(&workspace, "public", &[]);
    assert!(!public.join("TERMS.md").exists());
}

/// What a package says where nothing is stated: no license is invented, and no name.
#[test]
fn what_is_not_stated_is_said_not_to_be() {
    let (workspace, _) = loaded();
    let (out, _) = package(&workspace, "public", &[]);
    let files = folder_bytes(&out);
    let text = |name: &str| String::from_utf8(files[name].clone()).expect("UTF-8");
    assert!(text("README.md").contains("license of the data is not stated"));
    assert!(!text("CITATION.cff").contains("license"));
    assert!(!text("datapackage.json").contains("\"licenses\""));
    assert!(
        !text("README.md").contains("nvented"),
        "real counties are not invented"
    );
}
