//! Who may read what the program writes, whatever the umask: private files are their owner's alone.

#![cfg(unix)]

use std::os::unix::fs::PermissionsExt;

use std::process::Command;

use serde_json::json;

use crate::support::{
    Run, TestWorkspace, assert_private, everything, full_visit, lines, mode, text_of, visit,
};

const WEEK: &str = "2026-W30";

/// Runs the program under a umask.
fn under(umask: &str, arguments: &[&str]) -> Run {
    let mut command = Command::new("sh");
    command
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(["-c", "umask \"$1\" && shift && exec \"$@\"", "sh", umask])
        .arg(env!("CARGO_BIN_EXE_bractline"))
        .args(arguments);
    Run::of(&mut command)
}

#[test]
fn private_files_are_their_owners_alone_under_any_umask() {
    let mut fields: Vec<_> = (0..4)
        .map(|field| {
            let mut visit = full_visit(&format!("visit-{field}"));
            visit["observed_on"] = "2026-07-21".into();
            visit["submitted_at"] = "2026-07-21T18:00:00Z".into();
            visit["field"]["field_id"] = format!("F-{field}").into();
            visit["field"]["farm_id"] = format!("farm-{field}").into();
            visit
        })
        .collect();
    let (lon, lat) = (
        fields[0]["field"]["lon"].as_f64().expect("a longitude"),
        fields[0]["field"]["lat"].as_f64().expect("a latitude"),
    );
    let corners = [
        (-1.0, -1.0),
        (1.0, -1.0),
        (1.0, 1.0),
        (-1.0, 1.0),
        (-1.0, -1.0),
    ];
    let ring = corners.map(|(east, north)| [lon + 0.005 * east, lat + 0.0036 * north]);
    fields[0]["field"]["outline"] = json!({"type": "Polygon", "coordinates": [ring]});
    for (site, side) in ["north", "east", "south", "west"].iter().enumerate() {
        fields[0]["sites"][site]["side"] = (*side).into();
    }
    let mut held = visit("held");
    held["field"]["lat"] = json!(0.5);
    fields.push(held);
    for umask in ["022", "000"] {
        let workspace = TestWorkspace::empty();
        let folder = text_of(&workspace.path());
        under(umask, &["init", &folder, "--region", "us:46"]).expect_code(0);
        let file = text_of(&workspace.write("visits.ndjson", lines(&fields)));
        let out = |name: &str| text_of(&workspace.beside(name));
        let run = |code: i32, arguments: &[&str]| {
            let all = [&["--workspace", &folder][..], arguments].concat();
            under(umask, &all).expect_code(code)
        };
        run(3, &["load", &file]);
        run(0, &["alert", "--week", WEEK]);
        run(0, &["alert", "--week", WEEK, "--issue"]);
        let store = workspace.path().join("store");
        assert_eq!(mode(&store), 0o700, "umask {umask}");
        assert_private(&workspace.path().join("alerts"));
        let deep = out("new/folders/full");
        for (name, arguments) in [
            ("desk", &["held", "export", "--out", &out("desk")][..]),
            (
                "new",
                &["export", "--level", "full", "--private", "--out", &deep],
            ),
            (
                "grid",
                &[
                    "export",
                    "--level",
                    "grid",
                    "--private",
                    "--out",
                    &out("grid"),
                ],
            ),
            (
                "scenario",
                &["rollup", "--with", "price=*0.5", "--out", &out("scenario")],
            ),
            (
                "edge",
                &["plan", "edge", "--field", "F-0", "--out", &out("edge")],
            ),
        ] {
            run(0, arguments);
            assert_private(&workspace.beside(name));
        }
        // What is public, everyone may read whom the umask lets in.
        run(0, &["export", "--out", &out("package")]);
        run(0, &["publish", "--to", &out("public")]);
        let open = if umask == "022" { 0o644 } else { 0o666 };
        for place in ["package/README.md", "public/0001/alert.html"] {
            assert_eq!(
                mode(&workspace.beside(place)),
                open,
                "umask {umask}: {place}"
            );
        }
    }
}

#[test]
fn a_shared_store_is_as_open_as_the_folder_of_the_workspace() {
    let workspace = TestWorkspace::of_region("us:46");
    let folder = text_of(&workspace.path());
    let store = workspace.path().join("store");
    assert_eq!(mode(&store), 0o700);
    let settings = workspace.path().join("bractline.toml");
    let text = std::fs::read_to_string(&settings).expect("settings");
    std::fs::write(&settings, text.replace("shared = false", "shared = true")).expect("settings");
    let office = std::fs::Permissions::from_mode(0o770);
    std::fs::set_permissions(workspace.path(), office).expect("permissions");
    under("007", &["--workspace", &folder, "store", "info"]).expect_code(0);
    assert_eq!(mode(&store), 0o770);
    let file = text_of(&workspace.write("one.ndjson", lines(&[full_visit("one")])));
    under("007", &["--workspace", &folder, "load", &file]).expect_code(0);
    for path in everything(&store.join("visits")) {
        // What `init` wrote was written under the umask of the tests.
        assert_ne!(
            mode(&path) & 0o040,
            0,
            "the group may read {}",
            path.display()
        );
    }
    // Permissions that somebody chose are left alone.
    let chosen = std::fs::Permissions::from_mode(0o750);
    std::fs::set_permissions(&store, chosen).expect("permissions");
    under("007", &["--workspace", &folder, "store", "info"]).expect_code(0);
    assert_eq!(mode(&store), 0o750);
}
