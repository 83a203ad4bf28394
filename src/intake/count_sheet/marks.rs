//! What a count sheet says of itself: on its hidden tab, or, where a program has lost that, on the others.

use std::collections::BTreeMap;

use crate::count_sheet::sheet_cells::words;
use crate::sheet::table::{Cell, Row, Sheet};
use scouting::failure::{Failure, Kind};
use scouting::protocol::sheet_layout::{
    COUNTS_TAB, CountColumn, DayForm, INSTRUCTIONS_TAB, LAYOUT, LAYOUT_FAMILY, MARK_BRACTS,
    MARK_DAYS, MARK_FORM, MARK_LAYOUT, MARK_PROTOCOL, MARK_TAB, PROTOCOL_LINE, VISITS_TAB,
    VisitColumn,
};
use scouting::visit::record::CountForm;

/// Keys and values.
pub(super) type Marks = BTreeMap<String, String>;

/// Rows in which the headings and the line of the protocol are looked for.
const ROWS_SEARCHED: usize = 20;
/// Of the headings of Visits so many at least are there, whatever people did to the sheet.
const HEADINGS_LEFT: usize = 12;

/// The marks of a count sheet; `None` if the workbook is none.
///
/// # Errors
/// If the hidden tab is lost and no other says which protocol the sheet is of.
pub(super) fn marks(sheets: &[Sheet], file_name: &str) -> Option<Result<Marks, Failure>> {
    if let Some(tab) = tab(sheets, MARK_TAB) {
        return hidden(tab).map(Ok);
    }
    let (visits, counts) = (tab(sheets, VISITS_TAB)?, tab(sheets, COUNTS_TAB)?);
    let headings = headings(
        visits,
        HEADINGS_LEFT,
        &VisitColumn::ALL.map(VisitColumn::name),
    );
    headings.then(|| visible(sheets, visits, counts, file_name))
}

fn tab<'a>(sheets: &'a [Sheet], name: &str) -> Option<&'a Sheet> {
    sheets.iter().find(|sheet| sheet.name == name)
}

/// The tab Visits or Counts: by its name, or, where somebody renamed it, the only other one with its headings.
pub(super) fn tab_of<'a>(sheets: &'a [Sheet], name: &str) -> Option<&'a Sheet> {
    let has_headings = |sheet: &&Sheet| match name {
        VISITS_TAB => is_visits(sheet),
        _ => headings(
            sheet,
            4,
            &[
                "Visit", "Site", "Bract 1", "Count", "Catch", "Head", "Plant", "Trap", "Nights",
            ],
        ),
    };
    let known = [MARK_TAB, INSTRUCTIONS_TAB, VISITS_TAB, COUNTS_TAB];
    let mut others = sheets
        .iter()
        .filter(|sheet| !known.contains(&&*sheet.name))
        .filter(has_headings);
    tab(sheets, name).or_else(|| others.next().filter(|_| others.next().is_none()))
}

fn is_visits(sheet: &Sheet) -> bool {
    headings(
        sheet,
        HEADINGS_LEFT,
        &VisitColumn::ALL.map(VisitColumn::name),
    )
}

/// The marks of the hidden tab, if it is of a layout of ours.
fn hidden(tab: &Sheet) -> Option<Marks> {
    let mut marks = Marks::new();
    for row in &tab.rows {
        if let [key, value, ..] = &row.cells[..] {
            let value = match value {
                Cell::Number(number) => number.to_string(),
                value => words(value),
            };
            marks.insert(words(key), value);
        }
    }
    let layout = marks.get(MARK_LAYOUT)?;
    layout.starts_with(LAYOUT_FAMILY).then_some(marks)
}

/// The marks as the other tabs say them: the protocol in words, the form by the headings.
fn visible(
    sheets: &[Sheet],
    visits: &Sheet,
    counts: &Sheet,
    file_name: &str,
) -> Result<Marks, Failure> {
    let form = [CountForm::Heads, CountForm::Plants, CountForm::Traps]
        .into_iter()
        .find(|form| headings(counts, 1, &[&CountColumn::Unit(*form).name()]));
    let (Some(protocol), Some(form)) = (protocol_line(sheets), form) else {
        return Err(Failure::new(
            Kind::Submission,
            format!(
                "cannot load {file_name}: it is a count sheet that has lost its hidden tab {MARK_TAB:?}, which says what was counted"
            ),
        )
        .mend(
            "a program that saved it left the tab out: copy the entries of Visits and Counts into a fresh count sheet \
             (bractline sheet) of the same protocol, and load that",
        ));
    };
    let bracts = (1_usize..)
        .take_while(|bract| headings(counts, 1, &[&CountColumn::Bract(*bract).name()]))
        .count();
    let day = format!(
        "{} ({})",
        VisitColumn::Day.name(),
        DayForm::MonthFirst.name()
    );
    let rows = visits.rows.iter().take(ROWS_SEARCHED);
    let days = match rows
        .flat_map(|row| &row.cells)
        .any(|cell| words(cell) == day)
    {
        true => DayForm::MonthFirst,
        false => DayForm::YearFirst,
    };
    let marks = [
        (MARK_DAYS, days.name().to_owned()),
        (MARK_LAYOUT, LAYOUT.to_owned()),
        (MARK_PROTOCOL, protocol),
        (MARK_FORM, form.member().to_owned()),
        (MARK_BRACTS, bracts.to_string()),
    ];
    Ok(marks.map(|(key, value)| (key.to_owned(), value)).into())
}

/// The protocol's id as the tab of instructions says it.
fn protocol_line(sheets: &[Sheet]) -> Option<String> {
    let rows = tab(sheets, INSTRUCTIONS_TAB)?
        .rows
        .iter()
        .take(ROWS_SEARCHED);
    let mut texts = rows.flat_map(|row| &row.cells).map(words);
    let line = texts.find(|text| text.starts_with(PROTOCOL_LINE))?;
    let id = line[PROTOCOL_LINE.len()..].trim().to_owned();
    (!id.is_empty()).then_some(id)
}

/// Whether a row has so many of these headings.
fn headings(sheet: &Sheet, least: usize, names: &[&str]) -> bool {
    let heading = |cell: &Cell| {
        words(cell)
            .split(" (")
            .next()
            .unwrap_or_default()
            .to_owned()
    };
    let has = |row: &Row| {
        let cells: Vec<String> = row.cells.iter().map(heading).collect();
        names
            .iter()
            .filter(|name| cells.iter().any(|cell| cell == *name))
            .count()
            >= least
    };
    sheet.rows.iter().take(ROWS_SEARCHED).any(has)
}
