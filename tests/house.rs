//! The rules of the house that matter, each a test that names the file, the line and what to do instead.
//! Taste is left to the reader. The tree is in `tree.rs`; which library may use which, Cargo and the compiler hold.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// A file of the project: its path from the top, with `/`, and its text.
pub struct Source {
    /// From the top of the project, with `/`.
    pub path: String,
    /// All of it.
    pub text: String,
}

impl Source {
    /// The text without the unit tests at its end.
    pub fn code(&self) -> &str {
        self.text.split("\n#[cfg(test)]").next().unwrap_or_default()
    }

    /// Numbered lines of the code that are not comments.
    pub fn lines(&self) -> impl Iterator<Item = (usize, &str)> {
        let lines = (1..).zip(self.code().lines());
        lines.filter(|(_, line)| !line.trim_start().starts_with("//"))
    }
}

pub fn top() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Files under a folder of the project with one of these endings, in the order of their paths.
pub fn sources(folder: &str, endings: &[&str]) -> Vec<Source> {
    let mut found: Vec<Source> = crate::support::contents(&top().join(folder))
        .into_iter()
        .filter(|(path, _)| {
            let ending = path.extension().and_then(|ending| ending.to_str());
            ending.is_some_and(|ending| endings.contains(&ending))
        })
        .map(|(path, content)| Source {
            path: path_from_top(&path),
            text: String::from_utf8(content).expect("our sources are UTF-8"),
        })
        .collect();
    found.sort_by(|one, other| one.path.cmp(&other.path));
    assert!(!found.is_empty(), "nothing in {folder}");
    found
}

fn path_from_top(path: &Path) -> String {
    let path = path.strip_prefix(top()).expect("within the project");
    path.display().to_string().replace('\\', "/")
}

pub fn rust() -> Vec<Source> {
    sources("src", &["rs"])
}

#[track_caller]
pub fn assert_none(broken: Vec<String>, instead: &str) {
    assert!(broken.is_empty(), "{instead}:\n  {}", broken.join("\n  "));
}

/// Lines of the code that hold one of these pieces, but for the files that may.
pub fn lines_with(sources: &[Source], pieces: &[&str], allowed: &[&str]) -> Vec<String> {
    let guarded = sources
        .iter()
        .filter(|source| !allowed.iter().any(|start| source.path.starts_with(start)));
    guarded
        .flat_map(|source| {
            source
                .lines()
                .filter(|(_, line)| pieces.iter().any(|piece| line.contains(piece)))
                .map(|(number, line)| format!("{}:{number}: {}", source.path, line.trim()))
                .collect::<Vec<_>>()
        })
        .collect()
}

// --- What is in a file -----------------------------------------------------------------------

#[test]
fn every_file_opens_with_what_it_is() {
    let mut files = rust();
    files.extend(sources("tests", &["rs"]));
    let without = files
        .iter()
        .filter(|source| !source.text.starts_with("//! "))
        .map(|source| format!("{}:1", source.path));
    assert_none(
        without.collect(),
        "open the file with //! and what it is, and what it is not",
    );
}

/// Lines of code of a file, its unit tests not counted.
const LINES_MAX: usize = 450;

#[test]
fn no_file_is_longer_than_a_reader_can_hold() {
    let mut files = rust();
    files.extend(sources("tests", &["rs"]));
    let long = files.into_iter().filter_map(|source| {
        let lines = source.code().lines().count();
        (lines > LINES_MAX).then(|| format!("{}: {lines} lines", source.path))
    });
    assert_none(
        long.collect(),
        "find the second job that the file does, and give it a file of its own with a name of its own; 450 lines at the most",
    );
}

/// Files of one folder of the program.
const FILES_MAX: usize = 20;

#[test]
fn no_folder_holds_more_files_than_a_reader_can_hold() {
    let mut folders: BTreeMap<String, usize> = BTreeMap::new();
    for source in rust() {
        let (folder, _) = source.path.rsplit_once('/').unwrap_or_default();
        *folders.entry(folder.to_owned()).or_default() += 1;
    }
    let full = folders.into_iter().filter(|(_, files)| *files > FILES_MAX);
    assert_none(
        full.map(|(folder, files)| format!("{folder}: {files} files"))
            .collect(),
        "group what belongs together in a folder of its own with a name of its own; 20 files at the most",
    );
}

#[test]
fn no_name_says_nothing() {
    let empty = ["Manager", "Helper", "Util", "Info", "Handler", "Processor"];
    let broken = rust().into_iter().flat_map(|source| {
        let named = source.lines().filter(|(_, line)| {
            let words = line
                .trim_start()
                .trim_start_matches("pub ")
                .trim_start_matches("pub(crate) ");
            let name = ["struct ", "enum ", "trait ", "type "]
                .iter()
                .find_map(|kind| words.strip_prefix(kind));
            let verb = ["fn process", "fn handle", "fn do_"];
            // A name that a trait of a library gives.
            let given = ["fn process_token(&self, token: Token"];
            name.is_some_and(|name| {
                let name = name
                    .split(|c: char| !c.is_alphanumeric())
                    .next()
                    .unwrap_or_default();
                empty.iter().any(|word| name.ends_with(word))
            }) || verb
                .iter()
                .any(|verb| words.trim_start_matches("async ").starts_with(verb))
                && !given.iter().any(|given| words.starts_with(given))
        });
        let broken =
            named.map(|(number, line)| format!("{}:{number}: {}", source.path, line.trim()));
        broken.collect::<Vec<_>>()
    });
    assert_none(
        broken.collect(),
        "name the thing with a noun of the field, the action with a verb and its object",
    );
}

// --- Banned calls, each with its replacement -----------------------------------------------------

// What a lint of Cargo.toml sees with types is not looked for here: unsafe code, `todo!`, `unimplemented!`, `dbg!`.

#[test]
fn nothing_gives_up_where_it_could_say_what_is_wrong() {
    for (piece, instead) in [
        (
            ".unwrap()",
            "return a Failure or a Finding; where it cannot fail, .expect(\"why it cannot\")",
        ),
        (
            "panic!",
            "return a Failure; for a promise of our own, assert! with the promise",
        ),
        ("#[allow(dead_code", "take out what nobody uses"),
        (
            "unreachable!",
            "let the types say it, or assert! with the promise",
        ),
        (
            "process::exit",
            "return an Outcome or a Failure: the exit code is decided in cli/mod.rs",
        ),
    ] {
        assert_none(lines_with(&rust(), &[piece], &[]), instead);
    }
}

#[test]
fn an_expectation_gives_its_reason() {
    let mut broken = Vec::new();
    for source in rust() {
        let code = source.code();
        for (place, _) in code.match_indices(".expect(") {
            let reason = code[place + ".expect(".len()..].trim_start();
            let text = reason
                .strip_prefix('"')
                .and_then(|text| text.split('"').next());
            // A reason is a sentence of some words.
            if text.is_none_or(|text| text.split_whitespace().count() < 4) {
                let number = code[..place].lines().count();
                broken.push(format!("{}:{number}: {:.60}", source.path, reason));
            }
        }
    }
    assert_none(
        broken,
        "say within expect(\"…\") why it cannot fail, or return a Failure",
    );
}

#[test]
fn only_the_door_prints() {
    let prints = ["println!", "print!(", "eprint!(", "io::stdout()"];
    assert_none(
        lines_with(
            &rust(),
            &prints,
            &["src/shared/report.rs", "src/cli/mod.rs"],
        ),
        "return the text to cli, which says it with report::say; for the log, tracing::info!",
    );
    let to_stdout = lines_with(
        &rust(),
        &[" println!", " print!(", "io::stdout()"],
        &["src/shared/report.rs"],
    );
    assert_none(to_stdout, "report::say, which knows a closed pipe");
}

#[test]
fn only_the_door_asks_the_clock_the_environment_and_the_terminal() {
    let asks = [
        "SystemTime::now",
        "Instant::now",
        "Timestamp::now",
        "Zoned::now",
        "Local::now",
        "Utc::now",
        "env::var",
        "env::args",
        "env::current_dir",
        "is_terminal",
        "available_parallelism",
    ];
    assert_none(
        lines_with(
            &rust(),
            &asks,
            &[
                "src/cli/",
                "src/shared/report.rs",
                // Keys and address of a bucket, and the cores, belong to the workspace as its settings do.
                "src/workspace/bucket.rs",
                "src/workspace/open.rs",
                // The stopwatch of a query that may not end.
                "src/figures/sql.rs",
            ],
        ),
        "take it as an argument and let the command give it",
    );
}

#[test]
fn no_note_is_left_for_later() {
    let mut files = rust();
    files.extend(sources("pipeline", &["sql", "toml", "md"]));
    files.extend(sources("tests", &["rs", "py", "mjs"]));
    let notes = ["TO", "FIX", "XX", "HA"];
    let ends = ["DO", "ME", "X", "CK"];
    let words: Vec<String> = notes
        .iter()
        .zip(ends)
        .map(|(start, end)| format!("{start}{end}"))
        .collect();
    let broken = files.iter().flat_map(|source| {
        let lines = (1..).zip(source.text.lines());
        let found = lines.filter(|(_, line)| words.iter().any(|word| line.contains(word.as_str())));
        let broken =
            found.map(|(number, line)| format!("{}:{number}: {}", source.path, line.trim()));
        broken.collect::<Vec<_>>()
    });
    assert_none(
        broken.collect(),
        "do it, or write an issue and say nothing here",
    );
}

#[test]
fn no_test_is_skipped() {
    let mut files = rust();
    files.extend(sources("tests", &["rs"]));
    let marks = [
        ["#[", "ignore"].concat(),
        ["pytest.", "skip"].concat(),
        ["should_", "panic"].concat(),
    ];
    let marks: Vec<&str> = marks.iter().map(String::as_str).collect();
    let broken = files.iter().flat_map(|source| {
        let lines = (1..).zip(source.text.lines());
        let found = lines.filter(|(_, line)| marks.iter().any(|mark| line.contains(mark)));
        let broken =
            found.map(|(number, line)| format!("{}:{number}: {}", source.path, line.trim()));
        broken.collect::<Vec<_>>()
    });
    assert_none(
        broken.collect(),
        "let it run, and fail where it cannot; assert what a failure says",
    );
}

#[test]
fn every_module_of_the_tests_is_in_the_list_with_what_it_is_for() {
    // Programs are in Cargo.toml, as the targets are. The search for hostile files is a package of its own, whose targets
    // are one module here.
    let cargo = std::fs::read_to_string(top().join("Cargo.toml")).expect("Cargo.toml");
    let is_module = |source: &Source| {
        let path = &source.path;
        let of_others = ["tests/benches/", "tests/fuzz/"];
        !cargo.contains(&format!("path = \"{path}\""))
            && !of_others.iter().any(|folder| path.starts_with(folder))
    };
    for source in sources("tests", &["rs"]).into_iter().filter(is_module) {
        let module = source.path.trim_end_matches(".rs").trim_end_matches("/mod");
        let (folder, name) = module.rsplit_once('/').expect("a file in a folder");
        let lists = ["main.rs", "mod.rs"].map(|list| top().join(folder).join(list));
        let list: String = lists.iter().flat_map(std::fs::read_to_string).collect();
        let listed = list.contains(&format!("mod {name};"));
        assert!(
            listed,
            "{}: never run; list it in the main.rs or mod.rs of its folder",
            source.path
        );
    }
}
