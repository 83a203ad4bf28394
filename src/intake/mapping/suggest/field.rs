//! The lines of a `[[field]]` for a column that is known: its unit, its format, what its texts mean.

use super::code_lists::{CROPS, TREATMENTS, code_list, people};
use super::day_formats::{Days, day_format};
use super::form::{Counted, Form};
use super::known_headers::{DAY, HEAD_COUNT, Named, SCOUT, SITE};
use super::marks::marks;
use super::seen::{Column, Seen};
use super::toml_text::{toml_list, toml_table, toml_text};
use crate::mapping::group::is_ditto;
use crate::mapping::member::{Level, Quantity, exactly};
use crate::mapping::names::{content, letters};
use crate::mapping::values::numbers::{NumberForm, read_number};
use crate::mapping::values::unit::in_cell;
use crate::sheet::table::Cell;

/// The share of blank cells from which on a column is one that is written once for several rows.
pub(super) const BLANK_SHARE: f64 = 0.5;

/// The lines of one field, with the questions that are open.
#[derive(Default)]
pub(super) struct Lines {
    questions: Vec<String>,
    lines: Vec<String>,
}

impl Lines {
    /// A line that is answered.
    pub(super) fn say(&mut self, line: impl Into<String>) {
        self.lines.push(line.into());
    }

    /// A line whose value is "?", and the question.
    pub(super) fn ask(&mut self, key: &str, question: impl Into<String>) {
        self.questions.push(question.into());
        self.lines.push(format!("{key} = \"?\""));
    }

    /// A line that holds "?" in some other form.
    fn ask_in(&mut self, line: String, question: impl Into<String>) {
        self.questions.push(question.into());
        self.lines.push(line);
    }

    /// The block, with a comment.
    pub(super) fn block(self, comment: &str) -> String {
        let questions = self
            .questions
            .iter()
            .map(|question| format!("# DECIDE: {question}.\n"));
        let questions: String = questions.collect();
        format!(
            "[[field]]\n# {comment}\n{questions}{}\n\n",
            self.lines.join("\n")
        )
    }
}

/// How a column is named in a mapping.
pub(super) fn selector(column: &Column) -> String {
    match column.by_letter {
        true => format!("column = \"{}\"", letters(column.place)),
        false => format!("name = {}", toml_text(&column.name)),
    }
}

/// The block of a known column.
pub(super) fn known_field(seen: &Seen<'_>, column: &Column, named: &Named, form: Form) -> String {
    let mut lines = Lines::default();
    lines.say(selector(column));
    let to = target(named.to, form);
    match to {
        "?" => lines.ask("to", "on what these counts are: \"/sites/{site}/plants/{plant}\" for one total a head or plant, \"/sites/{site}/heads/{head}/{bract}\" for bracts"),
        to => lines.say(format!("to = \"{to}\"")),
    }
    let cells = || seen.cells(column.place);
    match named.to {
        DAY | "/treated_on" => day_lines(&mut lines, day_format(cells(), &named.said)),
        "/submitted_at" => instant_lines(&mut lines, seen, column, &named.said),
        "/field/crop_type" => {
            let list = code_list(CROPS, cells());
            code_lines(
                &mut lines,
                list,
                "the crop types, as \"oilseed\" or \"confection\"",
            );
        }
        "/treatment" => {
            let list = code_list(TREATMENTS, cells());
            let question = "the kind of each: \"insecticide\", \"other\", or \"none\" for a field that was not treated";
            code_lines(&mut lines, list, question);
        }
        SCOUT => {
            if let Some(list) = people(cells()) {
                let line = format!("values = {}", toml_table(&list));
                lines.ask_in(line, "an ID code for each scout, never a name");
            }
        }
        "/field/county_id" => {
            let digits = |length| cells().any(|cell| content(cell).len() == length);
            let is_code = |cell: &Cell| content(cell).bytes().all(|letter| letter.is_ascii_digit());
            if cells().all(is_code) && digits(4) {
                lines.say("zeroPad = 5 # codes of counties that lost their zeros");
            }
        }
        _ => {}
    }
    if let Some(quantity) = named.quantity {
        unit_lines(&mut lines, seen, column, named, quantity);
        let marks = marks(cells());
        if !marks.is_empty() {
            lines.say(format!("missingValues = {}", toml_list(&marks)));
        }
    }
    if exactly_level(named.to) == Level::Count {
        mark_lines(&mut lines, cells());
    }
    if is_carried_down(seen, column, named, form) {
        lines.say("fillDown = true # written once for several rows");
    }
    lines.block(&format!("Cells: {}.", seen.samples(column.place)))
}

/// The codes that the texts of a column mean, asked for where one is not known.
fn code_lines(lines: &mut Lines, list: Option<Vec<(String, &str)>>, question: &str) {
    let Some(list) = list else {
        return;
    };
    let line = format!("values = {}", toml_table(&list));
    match list.iter().any(|(_, value)| *value == "?") {
        true => lines.ask_in(line, question),
        false => lines.say(line),
    }
}

/// Whether a blank cell or a ditto mark repeats the cell above: marks do, and blanks of what says where a row belongs if
/// most are. Blank cells of the visit itself are `blankKey`'s.
fn is_carried_down(seen: &Seen<'_>, column: &Column, named: &Named, form: Form) -> bool {
    let is_place = named.to.starts_with('{') || [SITE, "/sites/{site}/side"].contains(&named.to);
    let mostly_blank = seen.blank_share(&[column.place]) >= BLANK_SHARE;
    let has_ditto = seen.cells(column.place).any(is_ditto);
    has_ditto || is_place && mostly_blank && form.row_is != Some("visit")
}

/// Marks in columns of counts: they may mean 0, or that nothing was counted.
pub(super) fn mark_lines<'c>(lines: &mut Lines, cells: impl Iterator<Item = &'c Cell>) {
    let marks = marks(cells);
    if !marks.is_empty() {
        let values: Vec<(String, &str)> = marks.into_iter().map(|mark| (mark, "?")).collect();
        lines.ask_in(
            format!("values = {}", toml_table(&values)),
            "what the marks mean: 0 if nothing was found; if nothing was counted, say missingValues instead",
        );
    }
}

fn exactly_level(to: &str) -> Level {
    exactly(to).level
}

/// The member of a column, given what is counted: one total a head is a count of plants.
fn target(to: &'static str, form: Form) -> &'static str {
    match (to, form.counted) {
        (HEAD_COUNT, counted) => counted.member(),
        ("{head}", Counted::Plants) => "{plant}",
        ("{plant}", Counted::Bracts) => "{head}",
        _ => to,
    }
}

fn day_lines(lines: &mut Lines, days: Days) {
    match days {
        Days::NoFormat => {}
        Days::Format(format) => lines.say(format!("format = \"{format}\"")),
        Days::Several(formats, cell) => lines.ask(
            "format",
            format!("how dates are written; a cell has {}, which can be read by {}",
                one_line(&cell), quoted_list(&formats)),
        ),
        Days::Unknown(cell) => lines.ask(
            "format",
            format!("how dates are written, as \"%m/%d/%Y\" or \"default\" for 2026-07-21; a cell has {}", one_line(&cell)),
        ),
        Days::Numbers => lines.ask_in(
            "dateSystem = \"?\"".to_owned(),
            "what the numbers count from, 1900 or 1904 (without quotation marks)",
        ),
    }
}

fn quoted_list(texts: &[&str]) -> String {
    let quoted: Vec<String> = texts.iter().map(|text| format!("{text:?}")).collect();
    quoted.join(" or ")
}

/// A text within a comment: nothing may end the line.
fn one_line(text: &str) -> String {
    crate::mapping::names::quoted(text)
}

fn instant_lines(lines: &mut Lines, seen: &Seen<'_>, column: &Column, hint: &str) {
    let is_instant = |cell: &Cell| content(cell).parse::<jiff::Timestamp>().is_ok();
    if seen.cells(column.place).all(is_instant) {
        return;
    }
    day_lines(lines, day_format(seen.cells(column.place), hint));
    lines.ask(
        "timeOfDay",
        "the time where a cell gives only the day, as \"18:00:00\"",
    );
    lines.ask("utcOffset", "the offset of its clock, as \"-05:00\"");
}

fn unit_lines(
    lines: &mut Lines,
    seen: &Seen<'_>,
    column: &Column,
    named: &Named,
    quantity: Quantity,
) {
    let around = texts_around(seen, column, quantity);
    let example = match quantity {
        Quantity::Longitude | Quantity::Latitude => return,
        Quantity::Area => "\"acre\" or \"ha\"",
        Quantity::MoneyPerArea => "as \"USD/acre\"",
        Quantity::MoneyPerWeight => "as \"USD/lb\" or \"USD/cwt\"",
        Quantity::PlantsPerArea => "as \"1/acre\", or \"10*3/acre\" for thousands",
    };
    let is_in_cells =
        !around.is_empty() && around.iter().all(|text| in_cell(quantity, text).is_some());
    match &named.unit {
        Some(unit) => {
            lines.say(format!("unit = \"{unit}\""));
            if !around.is_empty() {
                lines.say("bareNumber = false # cells have a sign or unit next to the number");
            }
        }
        None if quantity == Quantity::Area && is_in_cells => lines.say("unitFrom = \"cell\""),
        None => lines.ask("unit", format!("the unit, {example}")),
    }
}

/// What is written next to the numbers of a column, each text once.
fn texts_around(seen: &Seen<'_>, column: &Column, quantity: Quantity) -> Vec<String> {
    let mut texts: Vec<String> = Vec::new();
    // Figures are of no interest here, so any signs between them will do.
    let forms =
        [('.', Some(',')), (',', Some('.')), (',', Some(' '))].map(|(decimal, group)| NumberForm {
            decimal: Some(decimal),
            group,
            fractions: false,
        });
    for cell in seen.cells(column.place) {
        let Cell::Text(text) = cell else { continue };
        let read = forms
            .iter()
            .find_map(|form| read_number(text.trim(), form, quantity.range(), false).ok());
        let Some(read) = read else { continue };
        let around = format!("{}{}", read.before, read.after);
        if !around.is_empty() && !texts.contains(&around) {
            texts.push(around);
        }
    }
    texts
}
