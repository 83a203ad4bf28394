//! A draft of a mapping file, made from the headers and the cells of a sheet: for a person to read and finish.
//!
//! It says what headers state and cells show. What only a person can know is a value "?" under a comment that says
//! DECIDE: a mapping with one is refused ([`super::definition::open_questions`]), so that no question is left behind. The
//! draft is never applied by itself.
//!
//! [`tabs`] and [`header_rows`] find the table, [`seen`] says what each column seems to be, [`form`] what is counted, and
//! the other files write a section each.

mod code_lists;
mod day_formats;
mod field;
mod form;
mod header_rows;
mod header_units;
mod known_headers;
mod marks;
mod number_signs;
mod repeat_fields;
mod repeats;
mod rows;
mod seen;
mod tabs;
mod toml_text;
mod totals;

use self::field::{Lines, known_field, selector};
use self::form::Form;
use self::repeat_fields::repeat_fields;
use self::rows::{constants, rows, schema};
use self::seen::{Column, Role, Seen};
use self::tabs::Tabs;
use self::toml_text::toml_text;
use self::totals::skip_totals;
use super::names::{letters, quoted};
use crate::sheet::table::Sheet;

/// A draft of a mapping for the sheets of a file that look like visits, as the text of a TOML file.
pub fn suggest(sheets: &[Sheet], file_name: &str) -> String {
    let Some(tabs) = Tabs::of(sheets) else {
        return "# No header was found: no row of the file holds three different texts.\n"
            .to_owned();
    };
    let mut seen = Seen::of(tabs.header.clone(), &tabs.read);
    let skips = skip_totals(&mut seen);
    let form = Form::of(&seen);
    let mut draft = opening(&seen);
    draft += &format!("[dialect]\n{}\n", tabs.lines());
    draft += &schema(&seen);
    draft += &rows(&seen, form, file_name);
    draft += &constants(&seen, form);
    draft += &skips;
    for column in &seen.columns {
        match &column.role {
            Role::Known(named) => draft += &known_field(&seen, column, named, form),
            Role::Unknown => draft += &unknown_field(&seen, column),
            Role::Repeated | Role::Derived => {}
        }
    }
    draft += &repeat_fields(&seen, form);
    draft
}

fn opening(seen: &Seen<'_>) -> String {
    let derived = seen
        .columns
        .iter()
        .filter(|column| matches!(column.role, Role::Derived));
    let ignored: Vec<String> = derived
        .map(|column| match column.by_letter {
            true => format!("{{ column = \"{}\" }}", letters(column.place)),
            false => toml_text(&column.name),
        })
        .collect();
    let why = if ignored.is_empty() {
        ""
    } else {
        " # computed from other columns"
    };
    format!(
        "# A draft, made from headers and cells. Answer each \"?\": the comment above it says what to decide. The draft is\n\
         # refused until then. See sample_data/mappings/README.md; `bractline check --rows` shows what it makes of a sheet.\n\
         mapping = \"1\"\ntarget = \"visit/1.0\"\nignore = [{}]{why}\n\n",
        ignored.join(", ")
    )
}

fn unknown_field(seen: &Seen<'_>, column: &Column) -> String {
    let mut lines = Lines::default();
    lines.say(selector(column));
    lines.ask(
        "to",
        "what this column is; if no member takes it, delete these lines and list the column in ignore",
    );
    lines.block(&format!(
        "Column {} {} is not known. Cells: {}.",
        letters(column.place),
        quoted(&column.name),
        seen.samples(column.place)
    ))
}
