//! One token of a text changed for another. Of bytes changed by chance few leave a text that is read at all; a word, a
//! number or a sign in the place of another mostly does, and then means something else.

use std::ops::Range;

use rand::Rng;
use rand::seq::IndexedRandom;

/// What may be at the ends of a number, a text or an expression, in addition to the tokens of the text itself.
const OTHERS: [&str; 16] = [
    "0", "1", "-1", "0.5", "-0.5", "1000000", "1e9", "1e308", "-", "+", "*", "/", "<", ">", "null",
    "\"\"",
];

/// Puts another token in the place of one, puts one in, or takes one out. A text without any stays as it is.
pub fn change(text: &mut Vec<u8>, chance: &mut impl Rng) {
    let tokens = tokens(text);
    let Some(chosen) = tokens.choose(chance).cloned() else {
        return;
    };
    let other = match chance.random_range(0..3) {
        0 => OTHERS.choose(chance).map(|other| other.as_bytes().to_vec()),
        _ => tokens
            .choose(chance)
            .map(|other| text[other.clone()].to_vec()),
    };
    let mut other = other.unwrap_or_default();
    match chance.random_range(0..8) {
        0 => drop(text.drain(chosen)),
        1 | 2 => {
            other.push(b' ');
            text.splice(chosen.start..chosen.start, other);
        }
        _ => drop(text.splice(chosen, other)),
    }
}

/// Runs of what a word or a number is made of, and every other byte for itself; no space.
fn tokens(text: &[u8]) -> Vec<Range<usize>> {
    let of_a_word =
        |byte: u8| byte.is_ascii_alphanumeric() || matches!(byte, b'_' | b'.') || !byte.is_ascii();
    let mut end = 0;
    text.chunk_by(|a, b| of_a_word(*a) && of_a_word(*b))
        .map(|run| {
            end += run.len();
            end - run.len()..end
        })
        .filter(|run| !text[run.start].is_ascii_whitespace())
        .collect()
}
