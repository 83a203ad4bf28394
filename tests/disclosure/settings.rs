//! Settings and stores over time: an older store, and settings that are raised and never lowered.

use super::{BROWN, WEEK, counties_of, fields, issue, issue_week, workspace_of};
use crate::support::{bractline, folder_bytes, text_of};

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
    let workspace = text_of(&folder.path().join("ws_old"));
    let place = text_of(&folder.path().join("public"));
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
            .contains("undamaged")
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
    let place = text_of(&workspace.beside("public"));
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
