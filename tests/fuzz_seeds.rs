//! What the search for hostile files (`tests/fuzz`) has kept, and changes of it, looked at with every test run.
//!
//! The search itself takes hours and libFuzzer; here the same questions are put to the seeds, to whatever once broke
//! something, and to some hundred changes of them by chance from a fixed seed.

use std::panic::catch_unwind;
use std::path::PathBuf;

use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::fuzz_targets::{INPUT_BYTES_MAX, TARGETS, Target, hold_html};
use crate::fuzz_tokens;
use crate::support::contents;

/// Changed inputs of each target.
const CHANGED: usize = 600;

fn inputs(target: &Target) -> Vec<(PathBuf, Vec<u8>)> {
    let fuzz = crate::house::top().join("tests/fuzz");
    let mut all = Vec::new();
    for of in ["seeds", "found"] {
        let folder = fuzz.join(of).join(target.name);
        if folder.is_dir() {
            all.extend(contents(&folder));
        }
    }
    assert!(!all.is_empty(), "{} has no seed", target.name);
    all
}

/// Words that the reader of such a file knows, as libFuzzer's dictionaries have them.
fn words(target: &Target) -> Vec<Vec<u8>> {
    let path = crate::house::top()
        .join("tests/fuzz/words")
        .join(target.name);
    let text = std::fs::read_to_string(path).expect("every target has words");
    text.lines()
        .map(|line| {
            let word = line
                .strip_prefix('"')
                .and_then(|line| line.strip_suffix('"'));
            unescaped(word.expect("a word in quotation marks"))
        })
        .collect()
}

fn unescaped(word: &str) -> Vec<u8> {
    let mut pieces = word.split("\\x");
    let mut bytes = pieces.next().unwrap_or_default().as_bytes().to_vec();
    for piece in pieces {
        bytes.push(u8::from_str_radix(&piece[..2], 16).expect("two digits after \\x"));
        bytes.extend_from_slice(&piece.as_bytes()[2..]);
    }
    bytes
}

/// One change after the other: bytes flipped, pieces cut out, doubled, put elsewhere, words put in, tokens changed.
fn change(input: &mut Vec<u8>, words: &[Vec<u8>], chance: &mut ChaCha8Rng) {
    for _ in 0..chance.random_range(1..6) {
        let at = chance.random_range(0..=input.len());
        let end = (at + chance.random_range(0..40)).min(input.len());
        match chance.random_range(0..6) {
            0 if at < input.len() => input[at] = chance.random(),
            1 => drop(input.drain(at..end)),
            2 => {
                let piece = input[at..end].to_vec();
                let to = chance.random_range(0..=input.len());
                input.splice(to..to, piece);
            }
            3 if at < input.len() => input[at] ^= 1 << chance.random_range(0..8),
            4 => fuzz_tokens::change(input, chance),
            _ => {
                let word = words.choose(chance).expect("a word").clone();
                let over = if chance.random() { at..end } else { at..at };
                input.splice(over, word);
            }
        }
    }
    input.truncate(INPUT_BYTES_MAX);
}

fn look(target: &Target, input: &[u8], what: &str) {
    if catch_unwind(|| (target.look)(input)).is_err() {
        let kept = std::env::temp_dir().join(format!("bractline-{}-broken", target.name));
        std::fs::write(&kept, input).expect("the input is kept");
        panic!(
            "{}: {what} breaks it, kept as {}",
            target.name,
            kept.display()
        );
    }
}

#[test]
fn what_was_kept_of_hostile_files_and_changes_of_it_break_nothing() {
    std::thread::scope(|scope| {
        for target in &TARGETS {
            scope.spawn(move || {
                let inputs = inputs(target);
                for (path, input) in &inputs {
                    look(target, input, &path.display().to_string());
                }
                let words = words(target);
                let mut chance = ChaCha8Rng::seed_from_u64(7);
                for number in 0..CHANGED {
                    let (path, input) = inputs.choose(&mut chance).expect("an input");
                    let mut input = input.clone();
                    change(&mut input, &words, &mut chance);
                    look(
                        target,
                        &input,
                        &format!("change {number} of {}", path.display()),
                    );
                }
            });
        }
    });
}

/// The questions themselves: what must not pass does not.
#[test]
fn the_questions_put_to_a_note_find_what_may_not_be_shown() {
    for shown in [
        "<p>a <script>b</script></p>",
        "<p onclick=\"a\">b</p>",
        "<a href=\"javascript:a\">b</a>",
        "<a href=\"data:text/html,a\" rel=\"nofollow noopener noreferrer\">b</a>",
        "<a href=\"other.html\">b</a>",
        "<p>a <!-- b --></p>",
        "<img src=x>",
        "<!doctype html>",
    ] {
        assert!(catch_unwind(|| hold_html(shown)).is_err(), "{shown} passes");
    }
    hold_html("<p>1 &lt; 2, <a href=\"https://example.org/\">b</a></p>");
}
