//! The alert as Markdown for an e-mail: the page's words and table, lines that read as plain text.
//!
//! Says nothing that the page does not say. Names and texts of other people are escaped, so that none of
//! them is markup, whatever it holds.

use jiff::civil::Date;

use super::answers::answers;
use super::changes::changes_of;
use super::districts::area_lines;
use super::row_words::{
    fields_in_words, median_in_short, over_third_in_words, percent_in_words, visits_until_in_words,
};
use super::stage_mix::stages_counted;
use super::summary::Summary;
use super::when::when_due;
use super::wording::{headline_of, paragraph, rule_in_words};
use crate::alert::bulletin::{Bulletin, ProtocolFacts};
use crate::plan::threshold_words::markdown;
use crate::shared::cautions::{Group, standing_cautions};
use crate::shared::markdown::escaped;
use crate::shared::passages::sentence_case;
use crate::shared::shown_days::week_in_words;
use crate::shared::shown_names::display_name;
use disclosure::public_row::PublicRow;
use scouting::failure::Failure;

/// Characters of a line, unless a word is longer: an e-mail that is answered adds some in front.
const LINE_WIDTH: usize = 76;
/// A column of the table is padded to its widest cell, but to no more than this.
const CELL_WIDTH: usize = 24;

/// The alert as Markdown.
///
/// # Errors
/// A [`Failure`] if the week is no ISO 8601 week.
pub fn alert_markdown(bulletin: &Bulletin) -> Result<String, Failure> {
    let week = week_in_words(bulletin.week()?, bulletin.weeks);
    let (protocol, words) = (bulletin.protocol, bulletin.protocol.words());
    let summary = Summary::of(bulletin.region, bulletin.rows, words);
    let mut parts = vec![format!("# {}", escaped(&headline_of(bulletin)))];
    parts.push(wrapped(&about(bulletin, &week)));
    if let Some(notice) = bulletin.region.invented() {
        parts.push(wrapped(&format!("**{}**", escaped(notice))));
    }
    if let Some(issue) = bulletin.issue {
        let replaced = issue.replaces.as_ref();
        let replaced = replaced.map_or_else(String::new, |replaced| {
            let why = replaced
                .why()
                .map_or_else(String::new, |why| format!(" {}", escaped(&why)));
            format!(
                " **{}**{why} It replaces alert {}.",
                replaced.heading(),
                replaced.number
            )
        });
        parts.push(wrapped(&(issue.in_words() + &replaced)));
    }
    let at_top = protocol.cautions_at_top.iter();
    parts.extend(at_top.map(|text| wrapped(&format!("**Caution.** {}", escaped(text)))));
    let answers = answers(bulletin, &summary);
    for (heading, said) in answers.titled() {
        parts.push(wrapped(&format!("**{heading}.** {}", escaped(&said))));
    }
    parts.push(wrapped(&escaped(&paragraph(bulletin))));
    if let Some(stages) = stages_of(bulletin) {
        parts.push(wrapped(&escaped(&stages)));
    }
    parts.push(wrapped(&format!(
        "{} Scout your own fields, and see the cautions below.",
        protocol.county_figures()
    )));
    if let Some(note) = bulletin.note {
        parts.push("## Entomologist's comments".to_owned());
        parts.push(note.markdown().trim_end().to_owned());
    }
    parts.push("## Results by county".to_owned());
    parts.push(table(bulletin, &summary));
    let areas = area_lines(bulletin);
    if !areas.is_empty() {
        parts.push("## The region and its districts".to_owned());
        let lines = areas.iter().map(|area| {
            listed(&format!(
                "**{}:** {}.",
                escaped(&area.place),
                escaped(&area.said)
            ))
        });
        parts.push(lines.collect::<Vec<_>>().join("\n"));
    }
    if let Some(changes) = changes_of(bulletin) {
        parts.push("## What changed since the alert that this one replaces".to_owned());
        let lines = changes.iter().map(|change| {
            listed(&format!(
                "**{}**: {}.",
                escaped(&change.place),
                escaped(&change.words)
            ))
        });
        parts.push(match changes.is_empty() {
            true => wrapped(&words.said(
                "Neither the class of the median nor the number of fields at threshold has changed in any place.",
            )),
            false => lines.collect::<Vec<_>>().join("\n"),
        });
    }
    parts.push("## The season, and reporting status (preliminary)".to_owned());
    parts.push(wrapped(&escaped(&season(bulletin))));
    let said = what_next(bulletin);
    if !said.is_empty() {
        parts.push(format!("## {}", escaped(&protocol.next_heading())));
        parts.push(wrapped(&escaped(&said.join(" "))));
    }
    parts.push("## How it is counted".to_owned());
    parts.push(wrapped(&method(bulletin)));
    parts.extend(thresholds(protocol));
    parts.push("## Cautions".to_owned());
    parts.push(cautions(bulletin));
    parts.push(wrapped(&escaped(&format!(
        "Made {} by {} from store version {}, protocol {}, week {}.",
        bulletin.generated_at,
        bulletin.program_version,
        bulletin.store_version,
        bulletin.protocol.id,
        bulletin.iso_week
    ))));
    Ok(parts.join("\n\n") + "\n")
}

fn about(bulletin: &Bulletin, week: &str) -> String {
    let region = display_name(bulletin.region.title());
    let place = match region.is_empty() {
        true => String::new(),
        false => format!(" in {}", escaped(&region)),
    };
    let title = escaped(&bulletin.protocol.title);
    format!("**{title}**{place}, {week}")
}

/// The stages of the week's counts, and which of them are early or late, in sentences.
fn stages_of(bulletin: &Bulletin) -> Option<String> {
    let several = bulletin.protocol.words().several();
    let stages = stages_counted(&bulletin.so_far.stages, bulletin.iso_week);
    let stages = stages.map(|stages| format!("Stages of the {several} counted: {stages}."));
    let said: Vec<String> = stages
        .into_iter()
        .chain(bulletin.protocol.count_timing.clone())
        .collect();
    (!said.is_empty()).then(|| said.join(" "))
}

/// What to do after the figures, or to consider.
fn what_next(bulletin: &Bulletin) -> Vec<String> {
    let protocol = bulletin.protocol;
    let due = when_due(
        bulletin.rows,
        protocol.treatment_stage.as_deref(),
        &protocol.level_of_one(),
    );
    // A mail is short: the days alone, or what a survey asks for.
    let text = match protocol.next_step {
        Some(_) => protocol.treatment.clone(),
        None => None,
    };
    text.into_iter().chain(due).collect()
}

/// How the week compares, and what is still to come.
fn season(bulletin: &Bulletin) -> String {
    let now = bulletin.season_now.map(|now| format!("{now} "));
    format!(
        "{}Every report received by {} is counted. {} Visits that come in later, and corrected ones, change \
         the figures.",
        now.unwrap_or_default(),
        bulletin.generated_at,
        bulletin.still_to_come
    )
}

fn method(bulletin: &Bulletin) -> String {
    let (protocol, words) = (bulletin.protocol, bulletin.protocol.words());
    let counted = words.said(
        "The percent of fields at threshold has a 95% Wilson score interval, and the chance over \u{2153} is the posterior \
         probability (Jeffreys prior) that more than a third of all fields are at threshold. Both assume that the fields are a \
         random sample. Scouts seldom choose fields at random, and fields of one farm resemble each other, so the true \
         uncertainty is larger.",
    );
    escaped(&format!(
        "{} A {} counts once a week, with its last visit at {}; counts up to {} days after a treatment are left out. {counted} {}",
        protocol.pressure_in_words(),
        words.one(),
        protocol.stage_window,
        protocol.days_after_treatment,
        rule_in_words(bulletin.rule, words)
    ))
}

/// Thresholds by cost and price in the office's units.
fn thresholds(protocol: &ProtocolFacts) -> Vec<String> {
    let Some(table) = protocol.threshold_tables.first() else {
        return Vec::new();
    };
    let said = protocol.caption_of(table);
    vec![wrapped(&escaped(&said)), markdown(table)]
}

fn cautions(bulletin: &Bulletin) -> String {
    let protocol = bulletin.protocol;
    let crop = (&*protocol.crop, protocol.treatment_stage.as_deref());
    let standing = standing_cautions([crop]);
    let own = protocol.cautions.iter();
    let own: Vec<String> = own.map(|text| listed(&escaped(text))).collect();
    let of_group = |group: Group| {
        let cautions = standing.iter().filter(|caution| caution.group == group);
        let lines = cautions.map(|caution| {
            let (title, text) = (escaped(&caution.title), escaped(&caution.text));
            listed(&format!("**{title}.** {text}"))
        });
        (group.heading(), lines.collect::<Vec<_>>())
    };
    std::iter::once(("For this count", own))
        .chain(Group::ALL.map(of_group))
        .filter(|(_, lines)| !lines.is_empty())
        .map(|(heading, lines)| format!("### {heading}\n\n{}", lines.join("\n")))
        .collect::<Vec<_>>()
        .join("\n\n")
}

/// A table of Markdown whose columns are aligned in plain text too.
fn table(bulletin: &Bulletin, summary: &Summary) -> String {
    let words = summary.words;
    let heads = [
        "County".to_owned(),
        sentence_case(words.several()),
        sentence_case(words.at()),
        format!("% of {} (95% CI)", words.several()),
        "Chance over ⅓".to_owned(),
        format!("Median × {}", words.level()),
    ];
    let named = |row: &'_ PublicRow| {
        let county = row.place.county();
        let name = county.map_or_else(|| row.place.in_words(), |id| summary.name(id));
        (county.is_none(), cells(row, &name, bulletin.visits_until))
    };
    let mut rows: Vec<(bool, [String; 6])> = bulletin.rows.iter().map(named).collect();
    if rows.is_empty() {
        return words.said("No county has enough sampled fields to report.");
    }
    rows.sort();
    let mut rows: Vec<[String; 6]> = rows.into_iter().map(|(_, row)| row).collect();
    rows.insert(0, heads);
    let widths: [usize; 6] = std::array::from_fn(|place| {
        let cells = rows.iter().map(|row| row[place].chars().count());
        cells.max().unwrap_or_default().min(CELL_WIDTH)
    });
    let line = |row: &[String; 6]| {
        let cells = row
            .iter()
            .zip(widths)
            .enumerate()
            .map(|(place, (cell, width))| match place {
                0 => format!("{cell:<width$}"),
                _ => format!("{cell:>width$}"),
            });
        format!("| {} |", cells.collect::<Vec<_>>().join(" | "))
    };
    let rule = widths.iter().enumerate().map(|(place, width)| match place {
        0 => "-".repeat(*width),
        _ => "-".repeat(width - 1) + ":",
    });
    let mut lines: Vec<String> = rows.iter().map(line).collect();
    lines.insert(1, format!("| {} |", rule.collect::<Vec<_>>().join(" | ")));
    lines.join("\n")
}

fn cells(row: &PublicRow, name: &str, newest: Option<Date>) -> [String; 6] {
    let name = match visits_until_in_words(row, newest) {
        Some(until) => format!("{name} ({until})"),
        None => name.to_owned(),
    };
    let rest = match row.fields_visited {
        0 => ["other crop stage", "", "", "", ""].map(str::to_owned),
        fields => [
            fields.to_string(),
            fields_in_words(row),
            percent_in_words(row, "–"),
            over_third_in_words(row),
            median_in_short(row).unwrap_or_else(|| "–".to_owned()),
        ],
    };
    let [fields, at, percent, third, median] = rest.map(|cell| escaped(&cell));
    [escaped(&name), fields, at, percent, third, median]
}

/// One line of text as lines of [`LINE_WIDTH`], none of which begins as something else than text.
fn wrapped(text: &str) -> String {
    broken(text, LINE_WIDTH).join("\n")
}

fn listed(text: &str) -> String {
    format!("- {}", broken(text, LINE_WIDTH - 2).join("\n  "))
}

fn broken(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut length = 0;
    // Not at spaces that do not break.
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        let letters = word.chars().count();
        if length > 0 && length + 1 + letters > width {
            lines.push(String::new());
            length = 0;
        }
        let line = lines.last_mut().expect("there is always a last line");
        if length > 0 {
            line.push(' ');
            length += 1;
        }
        line.push_str(word);
        length += letters;
    }
    lines.iter().map(|line| as_text(line)).collect()
}

/// A line that Markdown does not take for a heading, a list, a quotation or a rule.
fn as_text(line: &str) -> String {
    let digits = line.chars().take_while(char::is_ascii_digit).count();
    let rest = &line[digits..];
    let number = digits > 0
        && rest.starts_with(['.', ')'])
        && rest[1..].chars().next().is_none_or(char::is_whitespace);
    if number {
        format!("{}\\{rest}", &line[..digits])
    } else if line.starts_with(['#', '+', '-', '=', '>']) {
        format!("\\{line}")
    } else {
        line.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use pulldown_cmark::{Event, Options, Parser, Tag};

    use super::*;

    /// The text that a reader of the Markdown sees, if it is one paragraph of nothing but text.
    fn shown(markdown: &str) -> Option<String> {
        let mut text = String::new();
        // Typographers' quotes and dashes are a change of look, and wanted.
        let known = Options::all().difference(Options::ENABLE_SMART_PUNCTUATION);
        for event in Parser::new_ext(markdown, known) {
            match event {
                Event::Text(piece) => text.push_str(&piece),
                Event::SoftBreak => text.push(' '),
                Event::Start(Tag::Paragraph) | Event::End(_) => {}
                _ => return None,
            }
        }
        Some(text)
    }

    #[test]
    fn every_text_stands_for_itself_wherever_its_line_is_broken() {
        for text in [
            "<script>alert(1)</script>",
            "a *b* _c_ `d` [e](f) ![g](h) ~~i~~ | j",
            "&lt;b&gt; &#60; & c",
            "a:\\x https://example.org/a www.example.org desk@example.org",
            "pressure <1.00, share <1 % > 0",
        ] {
            for width in [1, 5, 12, 76] {
                let lines = broken(&escaped(text), width).join("\n");
                assert_eq!(shown(&lines).as_deref(), Some(text), "{lines:?}");
            }
        }
        // The beginning of each word may become the beginning of a line.
        for text in [
            "a # b", "a - b", "a + b", "a 1. b", "a 12) b", "a > b", "a === b", "a --- b",
        ] {
            let lines = broken(&escaped(text), 1).join("\n");
            assert_eq!(shown(&lines).as_deref(), Some(text), "{lines:?}");
        }
    }

    #[test]
    fn lines_are_short_and_a_long_word_has_one_of_its_own() {
        let long = "n".repeat(10_000);
        let lines = broken(&format!("one {long} two three"), 20);
        assert_eq!(lines, ["one", &long, "two three"]);
    }
}
