//! The pages for users, walked as a reader would: every command that a page shows is run, one after the other, and what
//! the page prints below it is in its output.
//!
//! `…` in a page stands for lines that it leaves out.

use std::path::Path;
use std::process::{Command, Output};

use crate::support::everything;

/// A command of a page, with the lines that the page prints below it.
struct Step {
    command: String,
    printed: Vec<String>,
}

/// The steps of the sections of a page, in their order.
fn steps(page: &str, sections: &[&str]) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    let (mut is_walked, mut is_code, mut continues, mut is_printed) = (false, false, false, false);
    for line in page.lines() {
        if let Some(title) = line.strip_prefix("## ") {
            is_walked = sections.contains(&title);
        }
        if line.starts_with("```") {
            is_code = !is_code;
            is_printed = false;
            continue;
        }
        if !(is_walked && is_code) {
            continue;
        }
        let begins = line.strip_prefix("$ ");
        if let Some(command) = begins {
            let step = Step {
                command: String::new(),
                printed: Vec::new(),
            };
            steps.push(step);
            (continues, is_printed) = (true, true);
            add_command(&mut steps, command, &mut continues);
        } else if continues {
            add_command(&mut steps, line, &mut continues);
        } else if let Some(step) = steps.last_mut().filter(|_| is_printed) {
            step.printed.push(line.to_owned());
        }
    }
    steps
}

fn add_command(steps: &mut [Step], line: &str, continues: &mut bool) {
    let Some(step) = steps.last_mut() else { return };
    let whole = line.strip_suffix('\\');
    step.command += whole.unwrap_or(line);
    *continues = whole.is_some();
}

fn run(step: &Step, folder: &Path, load: &str) -> Output {
    let program = Path::new(env!("CARGO_BIN_EXE_bractline"));
    let folder_of_program = program.parent().expect("the program is in a folder");
    let path = std::env::var("PATH").unwrap_or_default();
    Command::new("sh")
        .args(["-c", &step.command])
        .current_dir(folder)
        .env("PATH", format!("{}:{path}", folder_of_program.display()))
        .env("USER", "coordinator")
        // A load has another id each time; the pages call it so.
        .env("LOAD", load)
        .output()
        .expect("a shell")
}

/// The output has the printed lines in their order; without an ellipsis between two, one follows the other.
fn assert_printed(step: &Step, output: &str) {
    let lines: Vec<&str> = output.lines().map(str::trim_end).collect();
    let mut next = 0;
    let mut may_skip = false;
    for printed in &step.printed {
        if printed.trim() == "…" {
            may_skip = true;
            continue;
        }
        let found = lines[next..]
            .iter()
            .position(|line| line == &printed.trim_end());
        let skipped = found
            .unwrap_or_else(|| panic!("$ {}\nhas no line {printed:?} in\n{output}", step.command));
        assert!(
            skipped == 0 || may_skip,
            "$ {}\nhas lines before {printed:?}, for which the page has no ellipsis:\n{output}",
            step.command
        );
        (next, may_skip) = (next + skipped + 1, false);
    }
    let is_whole = step.printed.is_empty() || may_skip || next == lines.len();
    assert!(
        is_whole,
        "$ {}\nsays more than the page:\n{output}",
        step.command
    );
}

/// The id of the first load, as the list of submissions has it.
fn first_load(folder: &Path) -> String {
    let list = Step {
        command: "bractline --workspace week submissions list".to_owned(),
        printed: Vec::new(),
    };
    let output = run(&list, folder, "");
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let mut ids = text
        .lines()
        .filter_map(|line| line.trim().strip_prefix("load "));
    let id = ids.next().and_then(|rest| rest.split(',').next());
    id.unwrap_or_default().to_owned()
}

#[test]
fn every_command_of_the_pages_for_users_says_what_the_page_prints() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for from in everything(&root.join("sample_data")) {
        let name = from.strip_prefix(root).expect("a file of ours");
        // The demo may have been made there by somebody.
        if from.is_dir() || name.starts_with("sample_data/demo") {
            continue;
        }
        let to = folder.path().join(name);
        std::fs::create_dir_all(to.parent().expect("it has a folder")).expect("a folder");
        std::fs::copy(&from, to).expect("a copy");
    }
    let page = |name: &str| std::fs::read_to_string(root.join(name)).expect("a page");
    let coordinator = page("sample_data/COORDINATOR.md");
    let sections: Vec<&str> = coordinator
        .lines()
        .filter_map(|line| line.strip_prefix("## "))
        .filter(|title| *title != "The store in a bucket")
        .collect();
    let walked = [
        steps(
            &page("README.md"),
            &[
                "For the survey coordinator",
                "For the extension entomologist",
            ],
        ),
        steps(&coordinator, &sections),
    ];
    assert!(
        walked[0].len() >= 7 && walked[1].len() >= 15,
        "the pages have their commands"
    );
    let mut load = String::new();
    for step in walked.iter().flatten() {
        if step.command.contains("$LOAD") && load.is_empty() {
            load = first_load(folder.path());
        }
        let output = run(step, folder.path(), &load);
        let text = [&output.stdout, &output.stderr]
            .map(|bytes| String::from_utf8_lossy(bytes).into_owned());
        let text = text.concat();
        assert!(
            matches!(output.status.code(), Some(0 | 3)),
            "$ {}\nends with {}:\n{text}",
            step.command,
            output.status
        );
        assert_printed(step, &text);
    }
}
