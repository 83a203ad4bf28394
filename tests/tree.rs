//! The tree as a whole: what is at the top, what no file may name, what a newcomer looks for.

use crate::house::{Source, assert_none, top};

/// Text files that git keeps or would keep.
fn tree() -> Vec<Source> {
    let listed = std::process::Command::new("git")
        .args([
            "ls-files",
            "--cached",
            "--others",
            "--exclude-standard",
            "-z",
        ])
        .current_dir(top())
        .output()
        .expect("git is there");
    assert!(listed.status.success(), "{listed:?}");
    let names = String::from_utf8(listed.stdout).expect("paths in UTF-8");
    let files: Vec<Source> = names
        .split('\0')
        .filter(|name| !name.is_empty())
        .filter_map(|name| {
            let text = std::fs::read(top().join(name)).ok()?;
            let path = name.to_owned();
            String::from_utf8(text)
                .ok()
                .map(|text| Source { path, text })
        })
        .collect();
    assert!(files.len() > 50, "git lists {} files", files.len());
    files
}

#[test]
fn no_file_names_a_machine_or_a_registry() {
    // Put together here, so that this file does not name them either.
    let parts = [
        ["/ro", "ot/"],
        ["/ho", "me/"],
        ["/wor", "k/"],
        ["/Us", "ers/"],
        ["C:", "\\\\"],
        ["index.", "crates.io"],
        ["pypi.", "org"],
        ["registry.", "npmjs"],
        ["static.", "crates.io"],
        ["local", "host"],
        ["127.", "0.0.1"],
        ["192.", "168."],
        ["artifact", "ory"],
    ];
    let names: Vec<String> = parts.iter().map(|parts| parts.concat()).collect();
    let broken = tree().into_iter().flat_map(|source| {
        // The lock file names the one public registry of all Rust packages, by Cargo's own doing.
        let lines = (1..).zip(source.text.lines());
        let found = lines.filter(|(_, line)| {
            let line = line.replace("registry+https://github.com/rust-lang/crates.io-index", "");
            names.iter().any(|name| line.contains(name.as_str()))
        });
        let broken =
            found.map(|(number, line)| format!("{}:{number}: {:.120}", source.path, line.trim()));
        broken.collect::<Vec<_>>()
    });
    assert_none(
        broken.collect(),
        "say it without the machine: a relative path, a variable, a package's name",
    );
}

#[test]
fn the_top_level_is_closed() {
    let known = [
        ".ci",
        ".gitignore",
        "Cargo.lock",
        "Cargo.toml",
        "DEVELOPERS.md",
        "LICENSE",
        "README.md",
        "pipeline",
        "sample_data",
        "schemas",
        "src",
        "tests",
    ];
    let mut unknown: Vec<String> = tree()
        .iter()
        .filter_map(|source| source.path.split('/').next().map(str::to_owned))
        .filter(|name| !known.contains(&name.as_str()))
        .collect();
    unknown.dedup();
    assert_none(
        unknown,
        "find its place in one of the folders that are there",
    );
}

#[test]
fn a_newcomer_finds_the_three_files_to_begin_with() {
    for (name, says) in [
        ("README.md", &["demo", "cargo"][..]),
        ("DEVELOPERS.md", &["tests/run", "stage", "protocol"]),
        ("LICENSE", &["Apache", "MIT"]),
    ] {
        let text = std::fs::read_to_string(top().join(name));
        let text = text.unwrap_or_else(|error| panic!("write {name}: {error}"));
        for part in says {
            assert!(text.contains(part), "{name} says nothing of {part:?}");
        }
    }
}

#[test]
fn the_committed_sample_stays_below_five_megabytes() {
    let files = crate::support::contents(&top().join("sample_data"));
    let kept = files
        .iter()
        .filter(|(path, _)| !path.starts_with(top().join("sample_data/demo")));
    let bytes: usize = kept.map(|(_, content)| content.len()).sum();
    assert!(
        bytes < 5_000_000,
        "sample_data has {bytes} bytes: make the sample smaller"
    );
    assert!(
        bytes > 100_000,
        "sample_data has {bytes} bytes: is the sample there?"
    );
}
