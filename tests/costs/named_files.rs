//! Pipes, devices and links in the place of files.

use std::path::Path;
use std::process::Command;

use crate::support::{Run, TestWorkspace, full_visit, lines};

/// Runs the program, and ends it after a minute: a pipe that nobody writes to is waited for without an end.
#[cfg(unix)]
fn within_a_minute(workspace: &TestWorkspace, arguments: &[&str]) -> Run {
    let program = env!("CARGO_BIN_EXE_bractline");
    let mut command = Command::new("timeout");
    command
        .args(["60", program, "--workspace"])
        .arg(workspace.path())
        .args(arguments);
    Run::of(&mut command)
}

#[cfg(unix)]
#[test]
fn what_is_named_as_a_file_and_is_none_is_refused_by_every_command() {
    let workspace = TestWorkspace::of_region("us:46");
    let pipe = workspace.beside("pipe").display().to_string();
    assert!(
        Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .expect("mkfifo")
            .success()
    );
    let folder = workspace.beside("folder").display().to_string();
    std::fs::create_dir(&folder).expect("a folder");
    let sheet = workspace.write("a.csv", "a,b\n1,2\n").display().to_string();
    let records = workspace
        .write("a.ndjson", lines(&[full_visit("v")]))
        .display()
        .to_string();
    workspace.run(&["load", &records]).expect_code(0);
    let new = workspace.beside("new").display().to_string();
    let own = workspace.path().join("protocols/mine.toml");
    std::fs::create_dir_all(own.parent().expect("a folder")).expect("a folder");
    let settings = workspace.path().join("bractline.toml");
    let text = std::fs::read_to_string(&settings).expect("settings");
    for (path, kind) in [
        (&*pipe, "a pipe"),
        ("/dev/zero", "a device"),
        (&*folder, "a folder"),
    ] {
        let refused = |run: Run| {
            assert_eq!(run.code, Some(1), "{path}: {run:?}");
            let said = format!("it is {kind}, not a regular file");
            assert!(run.stderr.contains(&said), "{path}: {run:?}");
        };
        refused(within_a_minute(
            &workspace,
            &["load", &sheet, "--mapping", path],
        ));
        refused(within_a_minute(
            &workspace,
            &["check", &sheet, "--mapping", path],
        ));
        refused(within_a_minute(
            &workspace,
            &["alert", "--week", "2026-W30", "--note", path],
        ));
        refused(within_a_minute(
            &workspace,
            &["init", &new, "--region", path],
        ));
        std::os::unix::fs::symlink(path, &own).expect("a link");
        refused(within_a_minute(&workspace, &["load", &records]));
        refused(within_a_minute(&workspace, &["protocols", "list"]));
        std::fs::remove_file(&own).expect("the link");
        let weather = format!("{text}\n[weather]\nfile = {path:?}\n");
        if !text.contains("\n[weather]\n") {
            std::fs::write(&settings, weather).expect("settings");
        } else {
            std::fs::write(
                &settings,
                text.replace("\n[weather]\n", &format!("\n[weather]\nfile = {path:?}\n#")),
            )
            .expect("settings");
        }
        refused(within_a_minute(
            &workspace,
            &["alert", "--week", "2026-W30"],
        ));
        std::fs::remove_file(&settings).expect("settings");
        std::os::unix::fs::symlink(path, &settings).expect("a link");
        refused(within_a_minute(&workspace, &["load", &records]));
        std::fs::remove_file(&settings).expect("the link");
        let boundaries = text.replace("boundaries = \"us:46\"", &format!("boundaries = {path:?}"));
        assert_ne!(boundaries, text);
        std::fs::write(&settings, boundaries).expect("settings");
        refused(within_a_minute(&workspace, &["load", &records]));
        std::fs::write(&settings, &text).expect("settings");
    }
    // A file that is too large is not read to its end.
    let large = workspace
        .write("large.toml", vec![b'#'; 2 << 20])
        .display()
        .to_string();
    let run = workspace
        .run(&["load", &sheet, "--mapping", &large])
        .expect_code(1);
    assert!(run.stderr.contains("1048576 at the most"), "{run:?}");
    workspace.run(&["load", &records]).expect_code(0);
}

#[cfg(unix)]
#[test]
fn publishing_follows_no_link_below_the_place() {
    let (workspace, _) = crate::support::issuing::loaded();
    workspace
        .run(&["alert", "--week", "2026-W30", "--issue"])
        .expect_code(0);
    let elsewhere = workspace.beside("elsewhere");
    std::fs::create_dir(&elsewhere).expect("a folder");
    let outside = elsewhere.join("outside");
    std::fs::write(&outside, "mine").expect("a file");
    let publish = |to: &Path| workspace.run(&["publish", "--to", &to.display().to_string()]);
    for (name, target) in [
        ("0001", elsewhere.as_path()),
        ("0001/alert.html", &outside),
        ("0001/alert.md", Path::new("nothing there")),
        ("feed.xml", &outside),
        ("index.html", Path::new("nothing there")),
    ] {
        let place = workspace.beside(&format!("public {}", name.replace('/', " ")));
        let link = place.join(name);
        std::fs::create_dir_all(link.parent().expect("a folder")).expect("a folder");
        std::os::unix::fs::symlink(target, &link).expect("a link");
        let run = publish(&place).expect_code(1);
        assert!(
            run.stderr
                .contains("a link, which publishing does not follow"),
            "{name}: {run:?}"
        );
        assert!(
            link.symlink_metadata().expect("there").is_symlink(),
            "{name}"
        );
        let files = |folder: &Path| {
            let mut files: Vec<_> = std::fs::read_dir(folder).expect("a folder").collect();
            files.retain(|entry| entry.as_ref().is_ok_and(|entry| entry.path() != link));
            files.len()
        };
        assert_eq!(files(&elsewhere), 1, "{name}: written through the link");
        assert!(
            files(&place) <= 1,
            "{name}: something was written before the link was met"
        );
    }
    assert_eq!(std::fs::read(&outside).expect("the file"), b"mine");
    // The place itself may be a link: it was named by the person.
    let linked = workspace.beside("linked");
    std::fs::create_dir(workspace.beside("real")).expect("a folder");
    std::os::unix::fs::symlink(workspace.beside("real"), &linked).expect("a link");
    publish(&linked).expect_code(0);
    assert!(workspace.beside("real/feed.xml").exists());
    publish(&linked).expect_code(0);
}
