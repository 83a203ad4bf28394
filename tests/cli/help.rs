//! Help: every command has it, with an example.

use crate::support::snapshots::assert_text;
use crate::support::{Run, bractline, program};

/// Every command, as the words that are typed, found by walking the help.
fn commands() -> Vec<Vec<String>> {
    let mut found = vec![Vec::new()];
    let mut next = 0;
    while next < found.len() {
        let command: Vec<String> = found[next].clone();
        let help = help_of(&command).stdout;
        let listed = help
            .lines()
            .skip_while(|line| *line != "Commands:")
            .skip(1)
            .take_while(|line| line.starts_with("  "))
            // A long description goes on in lines that are farther in.
            .filter(|line| !line.starts_with("   "));
        for line in listed {
            let name = line.split_whitespace().next().expect("a command's name");
            found.push([command.clone(), vec![name.to_owned()]].concat());
        }
        next += 1;
    }
    found
}

fn help_of(command: &[String]) -> Run {
    // As wide as where nobody says how wide.
    let mut asked = program();
    asked.args(command).arg("--help").env_remove("COLUMNS");
    Run::of(&mut asked).expect_code(0)
}

#[test]
fn every_command_has_help_with_an_example_that_names_it() {
    let commands = commands();
    assert!(commands.len() >= 15, "{commands:?}");
    for command in commands {
        let run = help_of(&command);
        assert_eq!(run.stderr, "", "help goes to stdout");
        let words = format!("bractline {}", command.join(" "));
        let has_subcommands = run.stdout.contains("\nCommands:\n");
        let example = run
            .stdout
            .lines()
            .any(|line| line.starts_with("  ") && line.contains(words.trim_end()));
        assert!(
            has_subcommands || example,
            "no example of {words}:\n{}",
            run.stdout
        );
        assert!(
            run.stdout.contains("--workspace"),
            "{words} takes the global option"
        );
        let name = [&["help".to_owned()], &command[..]].concat().join("-");
        assert_text(&name, &run.stdout);
    }
}

#[test]
fn the_help_of_the_program_says_where_to_begin() {
    let help = help_of(&[]).stdout;
    for part in [
        "Begin with:",
        "bractline demo",
        "bractline init DIR --region us:46",
    ] {
        assert!(help.contains(part), "no {part:?} in:\n{help}");
    }
    let version = bractline(&["--version"]).expect_code(0);
    assert_eq!(
        version.stdout,
        concat!("bractline ", env!("CARGO_PKG_VERSION"), "\n")
    );
}
