//! The `[[field]]` of columns that repeat: a pattern over their headers, and the member that it feeds.

use super::field::{Lines, mark_lines};
use super::form::{Counted, Form, may_be_buds};
use super::known_headers::{CATCH, HEAD_COUNT, NIGHTS, PLANT_COUNT, known_as};
use super::repeats::{Level, Repeat};
use super::seen::Seen;
use super::toml_text::toml_pattern;
use crate::mapping::names::{letters, quoted};

/// The blocks of all columns that repeat.
pub(super) fn repeat_fields(seen: &Seen<'_>, form: Form) -> String {
    let blocks = seen.repeats.iter().map(|repeat| block(seen, repeat, form));
    blocks.collect()
}

fn block(seen: &Seen<'_>, repeat: &Repeat, form: Form) -> String {
    let mut lines = Lines::default();
    match target(seen, repeat, form) {
        Some(target) => {
            lines.say(format!(
                "namePattern = {}",
                toml_pattern(&repeat.shape.pattern(&target.groups))
            ));
            match target.to {
                Some(to) => lines.say(format!("to = \"{to}\"")),
                None => lines.ask("to", "whether B is a bract or a bud with one total: \"/sites/{site}/heads/{head}/{bract}\"; or \"/sites/{site}/plants/{plant}\", and (?<plant>…) in place of (?<bract>…)"),
            }
        }
        None => {
            lines.ask(
                "namePattern",
                "what the numbers of these headers count, as '^H(?<head>[0-9]+)B(?<bract>[0-9]+)$'",
            );
            lines.ask(
                "to",
                "what the columns hold, as \"/sites/{site}/heads/{head}/{bract}\"",
            );
        }
    }
    mark_lines(
        &mut lines,
        repeat.places.iter().flat_map(|place| seen.cells(*place)),
    );
    let first = repeat.places.first().copied().unwrap_or(0);
    let count = match repeat.places.len() {
        1 => "One column".to_owned(),
        count => format!("{count} columns"),
    };
    lines.block(&format!(
        "{count} from {} on, the first is {}. Cells: {}.",
        letters(first),
        quoted(&repeat.first),
        seen.samples(first)
    ))
}

struct Target {
    groups: Vec<&'static str>,
    to: Option<&'static str>,
}

fn target(seen: &Seen<'_>, repeat: &Repeat, form: Form) -> Option<Target> {
    let levels = repeat.shape.levels()?;
    let end = known_as(&repeat.shape.end_words()).map(|named| named.to);
    let site: Vec<&'static str> = levels
        .iter()
        .filter(|level| **level == Level::Site)
        .map(|_| "site")
        .collect();
    let with = |groups: &[&'static str], to| {
        Some(Target {
            groups: [&site, groups].concat(),
            to: Some(to),
        })
    };
    let is_count = repeat.shape.end_words().is_empty() || end == Some(HEAD_COUNT);
    match (levels.last()?, end) {
        (Level::Site, Some("/sites/{site}/side")) => with(&[], "/sites/{site}/side"),
        (Level::Site, Some("/field/lon")) => with(&[], "/sites/{site}/lon"),
        (Level::Site, Some("/field/lat")) => with(&[], "/sites/{site}/lat"),
        (Level::Site, Some(CATCH)) if form.counted == Counted::Traps => with(&[], CATCH),
        (Level::Site | Level::Trap, Some(NIGHTS)) => with(trap(&levels), NIGHTS),
        (Level::Trap, Some(CATCH)) => with(&["trap"], CATCH),
        (Level::Trap, _) if is_count => with(&["trap"], CATCH),
        (Level::Plant, _) if is_count => with(&["plant"], PLANT_COUNT),
        (Level::Head, _) if is_count && form.counted == Counted::Plants => {
            with(&["plant"], PLANT_COUNT)
        }
        (Level::Head, _) if is_count && seen.has("{bract}") => with(&["head"], HEAD_COUNT),
        (Level::Bract, _) if is_count && may_be_buds(seen, repeat) => Some(Target {
            groups: [&site[..], &["bract"]].concat(),
            to: None,
        }),
        (Level::Bract, _) if is_count => {
            let head: &[&str] = if levels.contains(&Level::Head) {
                &["head", "bract"]
            } else {
                &["bract"]
            };
            with(head, HEAD_COUNT)
        }
        _ => None,
    }
}

fn trap(levels: &[Level]) -> &'static [&'static str] {
    match levels.contains(&Level::Trap) {
        true => &["trap"],
        false => &[],
    }
}
