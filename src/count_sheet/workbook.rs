//! The count sheet as a workbook: a scout fills it, and `load` takes it back without a mapping.
//!
//! The tabs are laid out here; what each cell takes is decided in `sheet_entries.rs`, which columns there
//! are in `protocol::sheet_layout`, and the words in `sheet_words.rs`. The same protocol and options give the
//! same bytes. Nothing here is a formula, and protection has no password: it keeps slips out, not people.

use rust_xlsxwriter::{
    Color, DocProperties, ExcelDateTime, Format, FormatAlign, FormatBorder, Note,
    ProtectionOptions, Workbook, Worksheet, XlsxError,
};

use super::entries::{Entry, count_entry, visit_entry};
use super::words::{SheetOptions, SheetPlan, cautions_heading, filling, scouting, sources};
use crate::shared::passages::{Passage, cautions, safety};
use crate::shared::shown_numbers::Units;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Protocol;
use scouting::protocol::sheet_layout::{
    COUNTS_TAB, CountColumn, DayForm, INSTRUCTIONS_TAB, LAYOUT, MARK_BRACTS, MARK_DAYS, MARK_FORM,
    MARK_LAYOUT, MARK_PROGRAM, MARK_PROTOCOL, MARK_SITES, MARK_TAB, MARK_UNITS, PROTOCOL_LINE,
    VISITS_TAB, VisitColumn, heading,
};
use scouting::visit::record::CountForm;

/// Rows at the end of Counts whose numbers the scout writes, for sites past the plan.
const SPARE_ROWS: usize = 40;
/// Color of what is locked.
const LOCKED: Color = Color::RGB(0x00E7_EAEE);
/// Color of headings.
const HEADING: Color = Color::RGB(0x00D0_D7E1);
/// Color of lines.
const LINE: Color = Color::RGB(0x008A_93A1);
/// Width of the words on the tab of instructions, in digits, as spreadsheets measure it.
const WORDS_WIDTH: f64 = 100.0;
/// Letters that surely fit on a line of that width, whatever the type face.
const WORDS_A_LINE: usize = 102;
/// Height of a line of words, in points.
const LINE_HEIGHT: f64 = 15.0;
/// Height of the headings, of a row of Visits and of a row of Counts, in points; printed, a row of Visits
/// shrinks to half.
const HEADING_HEIGHT: f64 = 64.0;
const VISIT_HEIGHT: f64 = 46.0;
const UNIT_HEIGHT: f64 = 17.0;

/// The workbook (XLSX) for a protocol: tabs Instructions, Visits and Counts, and a hidden tab by which it is
/// recognized. Every count column takes whole numbers from 0; an empty cell is no count.
///
/// # Errors
/// A [`Failure`] if the plan has no row or too many, or the workbook cannot be written.
pub fn count_sheet_xlsx(protocol: &Protocol, options: &SheetOptions) -> Result<Vec<u8>, Failure> {
    let plan = SheetPlan::of(protocol, options)?;
    workbook(protocol, options, &plan).map_err(|error| {
        Failure::because(Kind::Publish, "cannot make the count sheet", error).at(&*protocol.id)
    })
}

fn workbook(
    protocol: &Protocol,
    options: &SheetOptions,
    plan: &SheetPlan,
) -> Result<Vec<u8>, XlsxError> {
    let mut workbook = Workbook::new();
    // A fixed day, so that the same sheet has the same bytes; it says nothing about when it was made.
    let fixed = ExcelDateTime::from_ymd(2000, 1, 1)?;
    workbook.set_properties(
        &DocProperties::new()
            .set_title(format!("Count sheet: {}", protocol.title))
            .set_author(&options.program)
            .set_creation_datetime(&fixed),
    );
    instructions_tab(workbook.add_worksheet(), protocol, plan)?;
    visits_tab(workbook.add_worksheet(), protocol, options, plan)?;
    counts_tab(workbook.add_worksheet(), protocol, plan)?;
    mark_tab(workbook.add_worksheet(), protocol, options, plan)?;
    workbook.save_to_buffer()
}

fn instructions_tab(
    sheet: &mut Worksheet,
    protocol: &Protocol,
    plan: &SheetPlan,
) -> Result<(), XlsxError> {
    sheet.set_name(INSTRUCTIONS_TAB)?;
    sheet.set_column_width(0, 24)?;
    sheet.set_column_width(1, WORDS_WIDTH)?;
    sheet.set_screen_gridlines(false);
    let title = Format::new().set_bold().set_font_size(16);
    sheet.write_with_format(
        0,
        0,
        said(&format!("Count sheet: {}", protocol.title)),
        &title,
    )?;
    sheet.write(1, 0, said(&format!("{PROTOCOL_LINE}{}", protocol.id)))?;
    let mut row = 3;
    for (part, passages) in [
        ("Your own safety first", safety()),
        ("Scouting", scouting(protocol, plan)),
        ("Filling this workbook", filling(plan)),
        (cautions_heading(protocol), cautions(protocol)),
        ("Sources", sources(protocol)),
    ] {
        row = write_part(sheet, row, part, &passages)?;
    }
    sheet
        .set_portrait()
        .set_print_fit_to_pages(1, 0)
        .set_margins(0.5, 0.5, 0.6, 0.6, 0.3, 0.3)
        .set_footer("&L&8&A&R&8page &P of &N")
        .protect_with_options(&protection());
    Ok(())
}

/// A heading and its passages; the next free row.
fn write_part(
    sheet: &mut Worksheet,
    first: u32,
    part: &str,
    passages: &[Passage],
) -> Result<u32, XlsxError> {
    let heading = Format::new()
        .set_bold()
        .set_font_size(12)
        .set_border_bottom(FormatBorder::Thin)
        .set_border_color(LINE);
    let name = Format::new()
        .set_bold()
        .set_text_wrap()
        .set_align(FormatAlign::Top);
    let words = Format::new().set_text_wrap().set_align(FormatAlign::Top);
    sheet.write_with_format(first, 0, part, &heading)?;
    sheet.write_blank(first, 1, &heading)?;
    let mut row = first + 1;
    for passage in passages {
        sheet.write_with_format(row, 0, said(&passage.title), &name)?;
        sheet.write_with_format(row, 1, said(&passage.text), &words)?;
        // Not every program fits the height of a row to its words.
        let lines = passage.text.chars().count().div_ceil(WORDS_A_LINE);
        let name_lines = passage.title.chars().count().div_ceil(20);
        let height = LINE_HEIGHT * lines.max(name_lines).max(1) as f64 + 4.0;
        sheet.set_row_height(row, height)?;
        row += 1;
    }
    Ok(row + 1)
}

fn visits_tab(
    sheet: &mut Worksheet,
    protocol: &Protocol,
    options: &SheetOptions,
    plan: &SheetPlan,
) -> Result<(), XlsxError> {
    sheet.set_name(VISITS_TAB)?;
    let days = day_form(plan.units_shown);
    let last = row_number(plan.visits);
    for (place, column) in VisitColumn::ALL.into_iter().enumerate() {
        let place = column_number(place);
        let entry = visit_entry(column, protocol, options)?;
        write_heading(sheet, place, column.name(), column.unit_with(days), &entry)?;
        if let Some(check) = &entry.check {
            sheet.add_data_validation(1, place, last, place, check)?;
        }
        let proposed = proposed_unit(column, protocol, plan.units_shown);
        for row in 1..=last {
            match column {
                VisitColumn::Visit => sheet.write_with_format(row, place, row, &locked())?,
                VisitColumn::Revision => sheet.write_with_format(row, place, 1, &open(&entry))?,
                _ => match proposed {
                    Some(unit) => sheet.write_with_format(row, place, unit, &open(&entry))?,
                    None => sheet.write_blank(row, place, &open(&entry))?,
                },
            };
        }
    }
    for row in 1..=last {
        sheet.set_row_height(row, VISIT_HEIGHT)?;
    }
    sheet.set_freeze_panes(1, 4)?;
    finish_tab(sheet, protocol)
}

fn counts_tab(
    sheet: &mut Worksheet,
    protocol: &Protocol,
    plan: &SheetPlan,
) -> Result<(), XlsxError> {
    sheet.set_name(COUNTS_TAB)?;
    let planned = plan.visits * plan.sites * plan.units;
    let last = row_number(planned + SPARE_ROWS);
    let columns = CountColumn::of(plan.form, plan.bracts, plan.layout, plan.totals);
    for (place, column) in columns.into_iter().enumerate() {
        let place = column_number(place);
        let entry = count_entry(column, plan)?;
        write_heading(sheet, place, &column.name(), column.unit(), &entry)?;
        if plan.totals_only && matches!(column, CountColumn::Bract(_)) {
            // A reader finds every column of the form; a scout who writes totals sees only what to fill.
            sheet.set_column_hidden(place)?;
        }
        let check = entry.check.as_ref();
        if let Some(check) = check {
            sheet.add_data_validation(1, place, last, place, check)?;
        }
        for unit_row in 0..planned {
            let row = row_number(unit_row + 1);
            let (site_row, unit) = (unit_row / plan.units, unit_row % plan.units);
            let number = match column {
                CountColumn::Visit => Some(site_row / plan.sites + 1),
                CountColumn::Site => Some(site_row % plan.sites + 1),
                CountColumn::Unit(_) => Some(unit + 1),
                _ => None,
            };
            let look = |format: Format| start_line(format, unit == 0, site_row % plan.sites == 0);
            match number {
                Some(number) => {
                    sheet.write_with_format(row, place, number as u32, &look(locked()))?
                }
                // The side is asked once a site.
                None if column == CountColumn::Side && unit > 0 => {
                    sheet.write_blank(row, place, &look(locked()))?
                }
                None => sheet.write_blank(row, place, &look(open(&entry)))?,
            };
        }
        for row in row_number(planned + 1)..=last {
            let first = row == row_number(planned + 1);
            sheet.write_blank(row, place, &start_line(open(&entry), first, first))?;
        }
    }
    for row in 1..=last {
        sheet.set_row_height(row, UNIT_HEIGHT)?;
    }
    sheet.set_freeze_panes(1, 0)?;
    finish_tab(sheet, protocol)
}

/// The unit that a cell has from the start, so that a scout changes it only where it differs.
fn proposed_unit(column: VisitColumn, protocol: &Protocol, units: Units) -> Option<&str> {
    match column {
        VisitColumn::AreaIn | VisitColumn::CostPer | VisitColumn::PlantsPer => {
            Some(units.of_area())
        }
        VisitColumn::ValuePer => Some(units.of_price()),
        VisitColumn::Currency => Some(&protocol.plausible.currency),
        _ => None,
    }
}

/// The form of days where these units are used.
pub(super) fn day_form(units: Units) -> DayForm {
    match units {
        Units::Us => DayForm::MonthFirst,
        Units::Metric => DayForm::YearFirst,
    }
}

fn write_heading(
    sheet: &mut Worksheet,
    place: u16,
    name: &str,
    unit: &str,
    entry: &Entry,
) -> Result<(), XlsxError> {
    let look = Format::new()
        .set_bold()
        .set_text_wrap()
        .set_align(FormatAlign::Center)
        .set_align(FormatAlign::VerticalCenter)
        .set_background_color(HEADING)
        .set_border(FormatBorder::Thin)
        .set_border_color(LINE);
    sheet.write_with_format(0, place, heading(name, unit), &look)?;
    sheet.set_column_width(place, entry.width)?;
    let lines = entry.note.chars().count().div_ceil(34) as u32;
    let note = Note::new(entry.note.as_str())
        .add_author_prefix(false)
        .set_width(230)
        .set_height(24 + 17 * lines);
    sheet.insert_note(0, place, &note)?;
    Ok(())
}

/// What the tabs to be filled have in common: print, and protection.
fn finish_tab(sheet: &mut Worksheet, protocol: &Protocol) -> Result<(), XlsxError> {
    sheet.set_row_height(0, HEADING_HEIGHT)?;
    // `&` begins a code in headers and footers.
    let title: String = protocol.title.chars().take(90).collect();
    let title = title.replace('&', "&&");
    sheet
        .set_landscape()
        .set_repeat_rows(0, 0)?
        .set_print_fit_to_pages(1, 0)
        .set_margins(0.4, 0.4, 0.6, 0.6, 0.3, 0.3)
        .set_header_footer_scale_with_doc(false)
        .set_header(format!("&L&10&A&C&10{title}"))
        .set_footer(
            "&L&8Use ID codes, not names or telephone numbers. \
             0 means looked and found none.&R&8page &P of &N",
        )
        .protect_with_options(&protection());
    Ok(())
}

/// The tab of keys and values by which the sheet is recognized; hidden, since no scout needs it.
fn mark_tab(
    sheet: &mut Worksheet,
    protocol: &Protocol,
    options: &SheetOptions,
    plan: &SheetPlan,
) -> Result<(), XlsxError> {
    sheet.set_name(MARK_TAB)?;
    let bracts = plan.bracts.to_string();
    let mut marks = vec![
        (MARK_LAYOUT, LAYOUT),
        (MARK_PROTOCOL, protocol.id.as_str()),
        (MARK_FORM, plan.form.member()),
    ];
    if plan.form == CountForm::Heads {
        marks.push((MARK_BRACTS, &bracts));
    }
    let (sites, units) = (plan.sites.to_string(), plan.units.to_string());
    marks.extend([(MARK_SITES, &*sites), (MARK_UNITS, &units)]);
    marks.push((MARK_DAYS, day_form(plan.units_shown).name()));
    marks.push((MARK_PROGRAM, &options.program));
    let text = Format::new().set_num_format("@");
    for (row, (key, value)) in (0..).zip(marks) {
        sheet.write(row, 0, key)?;
        sheet.write_with_format(row, 1, value, &text)?;
    }
    sheet.set_column_width(0, 20)?;
    sheet.set_column_width(1, 30)?;
    sheet.set_hidden(true);
    sheet.protect_with_options(&protection());
    Ok(())
}

/// Columns may be widened and rows heightened; nothing else of the structure moves.
fn protection() -> ProtectionOptions {
    ProtectionOptions {
        format_columns: true,
        format_rows: true,
        ..ProtectionOptions::new()
    }
}

fn locked() -> Format {
    Format::new()
        .set_background_color(LOCKED)
        .set_align(FormatAlign::Center)
        .set_align(FormatAlign::VerticalCenter)
        .set_border(FormatBorder::Thin)
        .set_border_color(LINE)
}

fn open(entry: &Entry) -> Format {
    let look = Format::new()
        .set_unlocked()
        .set_num_format(entry.number_format)
        .set_align(FormatAlign::VerticalCenter)
        .set_border(FormatBorder::Thin)
        .set_border_color(LINE);
    if entry.wraps {
        look.set_text_wrap().set_align(FormatAlign::Top)
    } else {
        look.set_align(FormatAlign::Center)
    }
}

/// A line above the first unit of a site, and a heavier one above the first of a visit.
fn start_line(look: Format, starts_site: bool, starts_visit: bool) -> Format {
    match (starts_site, starts_visit) {
        (true, true) => look
            .set_border_top(FormatBorder::Thick)
            .set_border_top_color(Color::Black),
        (true, false) => look
            .set_border_top(FormatBorder::Medium)
            .set_border_top_color(Color::Black),
        _ => look,
    }
}

/// A protocol's words as a cell holds them: none begins as a formula would, should the cell ever be
/// copied into a file where that matters.
fn said(text: &str) -> String {
    match text.chars().next() {
        Some('=' | '+' | '-' | '@' | '\t' | '\r') => format!("\u{2019}{text}"),
        _ => text.to_owned(),
    }
}

/// The plan has at most some 20,000 rows.
fn row_number(row: usize) -> u32 {
    u32::try_from(row).expect("SheetPlan::of limits the rows")
}

/// A sheet has at most some thirty columns.
fn column_number(column: usize) -> u16 {
    u16::try_from(column).expect("SheetPlan::of limits the columns")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_words_of_a_protocol_begin_as_a_formula() {
        for text in ["=1+1", "+1", "-1", "@x", "\tx", "\rx"] {
            assert!(said(text).starts_with('\u{2019}'), "{text:?}");
        }
        assert_eq!(said("Eggs, 1-2"), "Eggs, 1-2");
    }
}
