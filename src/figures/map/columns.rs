//! The page that explains the columns of the published files, made from the headers of the stages.
//!
//! Says what a value means and what to be careful with; shows no value.

use std::fmt::Write;

use super::rows::{ADDED_COLUMNS, DAYS_OF_TABLE};
use super::rules::{AT_THRESHOLD, outlined, rules};
use super::viewer_style::VIEWER_COLUMNS;
use crate::shared::cautions;
use crate::shared::classes::Class;
use crate::shared::count_words::CountWords;
use crate::shared::passages::sentence_case;
use crate::shared::tables::ColumnDoc;
use crate::shared::unseen::is_unseen;
use disclosure::rule::Level;
use scouting::protocol::catalogue::Protocol;
use scouting::region::Region;

/// What a page says of one kind of file.
#[derive(Debug, Clone, Copy)]
pub(crate) struct DescribedFiles<'a> {
    /// Names of the files, such as `county_week.csv, county_week.parquet`.
    pub names: &'a str,
    /// One or two sentences before the columns.
    pub about: &'a str,
    /// The columns, from the header of the stage.
    pub docs: &'a [ColumnDoc<'a>],
    /// Whether the files have the columns that a map adds for the days of the week.
    pub has_days: bool,
    /// Whether they have the status.
    pub has_status: bool,
}

/// The page, as Markdown.
pub(crate) fn columns_page(
    region: &Region,
    files: &[DescribedFiles],
    protocols: Vec<&Protocol>,
) -> String {
    let words = CountWords::of_all(protocols.iter().copied());
    let mut page = String::from("# The columns of these files\n\n");
    // Writing to a String cannot fail.
    if let Some(notice) = region.invented() {
        let _ = writeln!(page, "**{}**\n", plain(notice));
    }
    let _ = writeln!(page, "{}\n", cautions::IN_ONE_SENTENCE);
    let _ = writeln!(
        page,
        "Region: {}. Boundaries: {} (vintage {}). Coordinates are longitude and latitude, WGS 84.\n",
        plain(region.title()),
        plain(region.source()),
        plain(region.vintage()),
    );
    for described in files {
        let _ = writeln!(page, "## {}\n\n{}\n", described.names, described.about);
        page.push_str("| column | unit | meaning |\n|---|---|---|\n");
        let of_map = |doc: &&ColumnDoc| described.has_days && DAYS_OF_TABLE.contains(&doc.name);
        for doc in described.docs.iter().filter(|doc| !of_map(doc)) {
            add_row(&mut page, doc);
        }
        for doc in &ADDED_COLUMNS {
            let there = match doc.name {
                "status" => described.has_status,
                _ => described.has_days,
            };
            if there {
                add_row(&mut page, doc);
            }
        }
        // The kind of row and the look are those of a map.
        if described.has_status {
            VIEWER_COLUMNS
                .iter()
                .for_each(|doc| add_row(&mut page, doc));
        }
        page.push('\n');
    }
    let _ = write!(
        page,
        "## The classes of the map\n\nA map colors a county by the class of the median of its fields' pressures; rows \
         of the levels survey and strict have classes of their own. {} (`{AT_THRESHOLD}` above 0).\n\n\
         | class | color | status | level | median_class |\n|---|---|---|---|---|\n",
        sentence_case(&outlined(words)),
    );
    for rule in rules(&Class::known(&[Level::Survey, Level::Strict])) {
        let (level, class) = rule.median.unwrap_or_default();
        let (said, fill, status) = (rule.class.words(words), rule.fill, rule.status);
        let _ = writeln!(page, "| {said} | `{fill}` | {status} | {level} | {class} |");
    }
    page.push_str("\n## Cautions\n\n");
    page.push_str(&cautions::cautions_markdown(
        protocols.into_iter().map(cautions::crop_and_stage),
    ));
    page
}

pub(crate) fn add_row(page: &mut String, doc: &ColumnDoc) {
    let unit = doc.unit.map_or(String::new(), |unit| format!("`{unit}`"));
    let description = plain(doc.description);
    let _ = writeln!(page, "| `{}` | {unit} | {description} |", doc.name);
}

/// Text that no reader of Markdown takes for markup, on one line, without what is not seen.
pub(crate) fn plain(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '\n' | '\r' => safe.push(' '),
            '<' => safe.push_str("&lt;"),
            '&' => safe.push_str("&amp;"),
            '|' | '*' | '_' | '[' | ']' | '`' | '\\' | '#' | '!' => {
                safe.push('\\');
                safe.push(character);
            }
            other if is_unseen(other) => {}
            other => safe.push(other),
        }
    }
    safe
}
