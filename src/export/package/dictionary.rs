//! `DICTIONARY.md`: every table and column of a package, and how one table comes from another.

use std::fmt::Write;

use serde_json::Value;

use super::facts::{Facts, Level};
use super::limits::constraints_of;
use super::table::{ExportTable, type_word};
use crate::figures::map::columns::plain;
use crate::shared::cautions;

/// How the figures are computed, for a reader who computes them again.
const RULES: &str = include_str!("rules.md");

pub(super) fn dictionary(facts: &Facts, tables: &[ExportTable]) -> String {
    let mut page = format!("# Data dictionary: {}\n\n", plain(&facts.title()));
    // Writing to a String cannot fail.
    if let Some(notice) = facts.region.invented() {
        let _ = writeln!(page, "**{}**\n", plain(notice));
    }
    let _ = writeln!(page, "{}\n", cautions::IN_ONE_SENTENCE);
    page.push_str(
        "Every table is there as CSV (RFC 4180, UTF-8, a line of names; an empty cell is no value; a text that a \
         spreadsheet would run as a formula has an apostrophe in front) and as Parquet. Units are UCUM where it has \
         one; `1` is a ratio.\n\n",
    );
    for table in tables {
        add_table(&mut page, table);
    }
    page.push_str(RULES);
    let _ = writeln!(
        page,
        "\nIn this package the level is {}, the least number of fields is {}, that of farms {}, that of fields in a season \
         without any farm id {}, a cell is {} km high, and a field is called from a probability of {} on. {}",
        facts.rule.level.word(),
        facts.rule.min_fields,
        facts.rule.min_farms,
        facts.rule.min_fields_without_farms,
        facts.grid_km,
        facts.certainty,
        facts.weeks_in_words()
    );
    if facts.level != Level::Full {
        page.push_str(
            "The rules speak of tables and columns that this package does not have: they are private.\n",
        );
    }
    page
}

fn add_table(page: &mut String, table: &ExportTable) {
    let name = table.name;
    let _ = writeln!(
        page,
        "## {name}\n\n{}.\n{}\n",
        plain(table.title),
        plain(table.about)
    );
    let _ = writeln!(
        page,
        "Files: `{name}.csv`, `{name}.parquet`; {} rows.",
        table.rows()
    );
    let _ = writeln!(page, "A row is identified by `{}`.", table.key.join("`, `"));
    for reference in &table.references {
        let _ = writeln!(
            page,
            "`{}` names a row of `{}` by its `{}`.",
            reference.columns.join("`, `"),
            reference.table,
            reference.there.join("`, `")
        );
    }
    page.push_str("\n| column | type | unit | meaning | keeps to |\n|---|---|---|---|---|\n");
    for column in &table.columns {
        let unit = column
            .unit
            .as_ref()
            .map_or(String::new(), |unit| format!("`{unit}`"));
        let limits = constraints_of(column);
        let limits = limits.iter().map(|(name, value)| match value {
            Value::Bool(_) => name.clone(),
            Value::Array(words) => {
                let words = words.iter().filter_map(Value::as_str);
                format!("one of {}", words.collect::<Vec<_>>().join(", "))
            }
            Value::String(text) => format!("{name} `{}`", text.replace('|', "\\|")),
            other => format!("{name} {other}"),
        });
        let _ = writeln!(
            page,
            "| `{}` | {} | {unit} | {} | {} |",
            column.name,
            type_word(&column.data_type),
            plain(&column.description),
            limits.collect::<Vec<_>>().join("; ")
        );
    }
    page.push('\n');
}
