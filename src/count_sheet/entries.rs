//! What each column of a count sheet takes: its check, drop-down list, note, width and number format.
//!
//! The checks keep slips out while the scout types. They decide nothing: pasted cells get past them, and
//! `load` judges every record all the same.

use rust_xlsxwriter::{
    DataValidation, DataValidationErrorStyle, DataValidationRule, ExcelDateTime, XlsxError,
};

use super::words::{SheetOptions, SheetPlan};
use crate::shared::shown_numbers::Units;
use scouting::protocol::catalogue::Protocol;
use scouting::protocol::sheet_layout::{CountColumn, VisitColumn};
use scouting::visit::record::{
    AMOUNT_MAX, COUNT_MAX, ITEMS_MAX, NIGHTS_MAX, REMARKS_LENGTH_MAX, TEXT_LENGTH_MAX,
    TreatmentKind,
};
use scouting::visit::stage::StageScale;
use scouting::visit::units::HECTARES_PER_ACRE;

/// Sides of a field that the list offers.
const SIDES: [&str; 8] = [
    "north",
    "east",
    "south",
    "west",
    "north-east",
    "south-east",
    "south-west",
    "north-west",
];
/// Vegetative stages that the list offers; a scout may write a later one.
const LEAVES_LISTED: usize = 24;
/// Longest list that a workbook holds within a check, in UTF-16 units (Excel's limit, from memory).
const LIST_LENGTH_MAX: usize = 255;

/// What a column takes.
pub(super) struct Entry {
    /// Width in characters.
    pub(super) width: f64,
    /// Format of the number, or `@` for text that must stay text.
    pub(super) number_format: &'static str,
    /// Whether long text is broken within the cell.
    pub(super) wraps: bool,
    /// What the heading's note says.
    pub(super) note: String,
    /// What the cells are checked for.
    pub(super) check: Option<DataValidation>,
}

/// What a column of the tab Visits takes.
pub(super) fn visit_entry(
    column: VisitColumn,
    protocol: &Protocol,
    options: &SheetOptions,
) -> Result<Entry, XlsxError> {
    let entry = match column {
        VisitColumn::Visit => entry(
            8.0,
            "0",
            "The visit's number in this workbook: its counts are under the same number on the tab Counts.",
        ),
        VisitColumn::Day => {
            let [first, last] = [options.season.0, options.season.1].map(|day| day_text(day, options.units));
            let note = format!("The day in the field, {first} to {last}.");
            entry(14.0, day_number_format(options.units), &note).checked(season(options)?, &note)?
        }
        VisitColumn::Scout => pseudonym("Your scout ID, as your coordinator gave it to you.")?,
        VisitColumn::Field => pseudonym("The field ID, the same at every visit.")?,
        VisitColumn::Farm => {
            pseudonym("The farm ID, if you were given one. Never a name. May stay empty.")?
        }
        VisitColumn::Longitude => degrees(
            180.0,
            "Longitude of a point in the field, decimal degrees, WGS 84. West of Greenwich it is negative: -100.12345.",
        )?,
        VisitColumn::Latitude => degrees(
            90.0,
            "Latitude of a point in the field, decimal degrees, WGS 84. North of the equator it is positive: 44.12345.",
        )?,
        VisitColumn::Area => {
            let [low, high] = protocol.plausible.area_ha;
            let acres = |hectares: f64| (hectares / HECTARES_PER_ACRE).round();
            let note = format!(
                "Area of the field, in the unit next to it: {low} to {high} ha, {} to {} acres.",
                acres(low),
                acres(high)
            );
            entry(9.0, "0.0#", &note).checked(amount(), "A number above 0.")?
        }
        VisitColumn::AreaIn => per_area("Whether the area is in acres or in hectares.")?,
        VisitColumn::CropType => {
            entry(13.0, "@", "Type of crop, from the list.").listed(&protocol.crop_types, true)?
        }
        VisitColumn::CropStage => entry(
            12.0,
            "@",
            &format!(
                "Stage of most plants on the day. The counts of this sheet are valid at {} to {}. \
                 {}",
                protocol.stages.first,
                protocol.stages.last,
                match protocol.scale {
                    StageScale::Sunflower =>
                        "A stage that the list lacks may be written, such as V26.",
                    StageScale::Listed(_) => "The list has every stage.",
                }
            ),
        )
        .listed(&stages(&protocol.scale), false)?,
        VisitColumn::TreatedOn => {
            let check = DataValidation::new().allow_date(DataValidationRule::GreaterThanOrEqualTo(
                &ExcelDateTime::from_ymd(2000, 1, 1)?,
            ));
            let example = day_text(jiff::civil::date(2026, 7, 14), options.units);
            entry(
                14.0,
                day_number_format(options.units),
                "The day of the latest treatment of the field against this pest before the visit. Empty if it was not treated this season, or nobody knows.",
            )
            .checked(check, &format!("A day, not after the visit: {example}."))?
        }
        VisitColumn::Treatment => entry(
            12.0,
            "@",
            "What the latest treatment against this pest was. none: you know that the field was not treated this season. Empty: nobody knows.",
        )
        .listed(&TreatmentKind::ALL.map(TreatmentKind::name), true)?,
        VisitColumn::Cost => money(
            "Cost of one treatment, product and application together, for each acre or hectare: choose which next to it. In dollars (or the main unit of the currency), not cents.",
        )?,
        VisitColumn::CostPer => per_area("Whether the cost is per acre or per hectare.")?,
        VisitColumn::Currency => entry(
            10.0,
            "@",
            "Currency of both the cost and the price, as three letters (ISO 4217): USD.",
        )
        .listed(&currencies(&protocol.plausible.currency), false)?,
        VisitColumn::Value => money(
            "What the crop sells for, for each pound, hundredweight or kilogram: choose which next to it. In dollars (or the main unit of the currency), not cents: 16 cents a pound are 0.16 per lb or 16 per cwt.",
        )?,
        VisitColumn::ValuePer => entry(
            8.0,
            "@",
            "Whether the price is per pound (lb), per hundredweight of 100 pounds (cwt) or per kilogram (kg).",
        )
        .listed(&["lb", "cwt", "kg"], true)?,
        VisitColumn::Plants => {
            let note = "Plant population per acre or hectare: choose which next to it.";
            entry(11.0, "#,##0", note).checked(amount(), "A number above 0.")?
        }
        VisitColumn::PlantsPer => {
            per_area("Whether the plant population is per acre or per hectare.")?
        }
        VisitColumn::Remarks => {
            let check = DataValidation::new().allow_text_length(
                DataValidationRule::LessThanOrEqualTo(whole(REMARKS_LENGTH_MAX)),
            );
            entry(
                36.0,
                "@",
                "Anything else. No names of people, no telephone numbers.",
            )
            .checked(check, "At most 4,000 characters.")?
            .wrapped()
        }
        VisitColumn::Revision => entry(
            9.0,
            "0",
            "1 the first time. For a corrected visit: 2, then 3.",
        )
        .checked(from_to(1, COUNT_MAX), "A whole number from 1.")?,
        VisitColumn::HandedIn => {
            let check = DataValidation::new().allow_date(DataValidationRule::GreaterThanOrEqualTo(
                &ExcelDateTime::from_ymd(2000, 1, 1)?,
            ));
            entry(
                17.0,
                "yyyy-mm-dd hh:mm",
                "When you submit the sheet, day and time in UTC. If empty, the end of the visit date is taken.",
            )
            .checked(check, "A day, or a day and a time: 2026-07-22 14:30.")?
        }
    };
    Ok(entry)
}

/// What a column of the tab Counts takes.
pub(super) fn count_entry(column: CountColumn, plan: &SheetPlan) -> Result<Entry, XlsxError> {
    let unit = plan.unit();
    let entry = match column {
        CountColumn::Visit => entry(
            9.0,
            "0",
            "The number of the visit on the tab Visits. Spare rows at the end: write it yourself.",
        )
        .checked(from_to(1, ITEMS_MAX as u32), "The number of a visit.")?,
        CountColumn::Site => entry(9.0, "0", "Number of the site within the visit.")
            .checked(from_to(1, COUNT_MAX), "A whole number from 1.")?,
        CountColumn::Side => entry(
            13.0,
            "@",
            "The side of the field on which the site is; once per site is enough. May stay empty.",
        )
        .listed(&SIDES, false)?,
        CountColumn::Unit(_) => entry(9.0, "0", &format!("Number of the {unit} within its site."))
            .checked(from_to(1, ITEMS_MAX as u32), "A whole number from 1.")?,
        CountColumn::Bract(number) => count(
            plan,
            &format!(
                "Count on bract {number} of the head. 0 means looked and found none; for a head that you did not \
             examine leave every bract empty."
            ),
        )?,
        CountColumn::Total => count(
            plan,
            "All that is on the examined bracts of the head, where you note no single bracts. Then write it for every \
             head of the visit, and leave the bracts empty.",
        )?,
        CountColumn::Count => {
            let note = match plan.each_count_max {
                Some(1) => {
                    format!("1 if the {unit} has any, 0 if it has none; empty means not examined.")
                }
                _ => format!(
                    "Count on the {unit}. 0 means looked and found none; empty means not examined."
                ),
            };
            count(plan, &note)?
        }
        CountColumn::Catch => {
            let since = if plan.catch_by_night {
                ""
            } else {
                " in all since it was put up"
            };
            count(
                plan,
                &format!(
                    "What the trap caught{since}. 0 means looked and found none; empty means not looked at."
                ),
            )?
        }
        CountColumn::Nights => entry(
            9.0,
            "0",
            if plan.catch_by_night {
                "Trap-nights: nights since the trap was set or last emptied."
            } else {
                "Nights since the trap was put up."
            },
        )
        .checked(from_to(1, NIGHTS_MAX), "A whole number from 1 to 366.")?,
    };
    Ok(entry)
}

fn entry(width: f64, number_format: &'static str, note: &str) -> Entry {
    Entry {
        width,
        number_format,
        wraps: false,
        note: note.to_owned(),
        check: None,
    }
}

impl Entry {
    /// With a check; `expected` is the message for a refused cell.
    fn checked(mut self, check: DataValidation, expected: &str) -> Result<Entry, XlsxError> {
        self.check = Some(
            check
                .set_error_title("This cell needs another value")?
                .set_error_message(expected)?,
        );
        Ok(self)
    }

    /// With a drop-down list. An open one asks back when something else is written; a list that a
    /// workbook cannot hold is left out, and the note alone speaks.
    fn listed(self, choices: &[impl AsRef<str>], closed: bool) -> Result<Entry, XlsxError> {
        let choices: Vec<&str> = choices.iter().map(AsRef::as_ref).collect();
        let joined = choices.join(",");
        let holds = choices.iter().all(|choice| !choice.contains([',', '"']))
            && joined.encode_utf16().count() <= LIST_LENGTH_MAX;
        if !holds {
            return Ok(self);
        }
        let (style, expected) = if closed {
            (DataValidationErrorStyle::Stop, "Choose one from the list.")
        } else {
            let ask = "This is not in the list. Is it what you mean?";
            (DataValidationErrorStyle::Warning, ask)
        };
        let check = DataValidation::new()
            .allow_list_strings(&choices)?
            .set_error_style(style);
        self.checked(check, expected)
    }

    fn wrapped(mut self) -> Entry {
        self.wraps = true;
        self
    }
}

fn pseudonym(note: &str) -> Result<Entry, XlsxError> {
    let length = DataValidationRule::Between(1, whole(TEXT_LENGTH_MAX));
    let check = DataValidation::new().allow_text_length(length);
    entry(14.0, "@", note).checked(check, "An ID of at most 200 characters.")
}

fn degrees(most: f64, note: &str) -> Result<Entry, XlsxError> {
    let check =
        DataValidation::new().allow_decimal_number(DataValidationRule::Between(-most, most));
    let expected = format!("Decimal degrees from -{most} to {most}.");
    entry(15.0, "0.00000", note).checked(check, &expected)
}

fn money(note: &str) -> Result<Entry, XlsxError> {
    entry(10.0, "0.00##", note).checked(amount(), "A number above 0.")
}

fn per_area(note: &str) -> Result<Entry, XlsxError> {
    entry(8.0, "@", note).listed(&["acre", "ha"], true)
}

fn count(plan: &SheetPlan, note: &str) -> Result<Entry, XlsxError> {
    let expected = match plan.each_count_max {
        Some(most) => format!("A whole number from 0 to {most}. Empty means not examined."),
        None => "A whole number from 0. Empty means not examined.".to_owned(),
    };
    let most = plan.each_count_max.unwrap_or(COUNT_MAX);
    entry(9.0, "0", note).checked(from_to(0, most), &expected)
}

/// Above 0: a check has no open lower bound together with an upper one, so the least amount is tiny.
fn amount() -> DataValidation {
    DataValidation::new().allow_decimal_number(DataValidationRule::Between(0.000_001, AMOUNT_MAX))
}

fn from_to(least: u32, most: u32) -> DataValidation {
    let bound = |value: u32| i32::try_from(value).unwrap_or(i32::MAX);
    DataValidation::new().allow_whole_number(DataValidationRule::Between(bound(least), bound(most)))
}

fn season(options: &SheetOptions) -> Result<DataValidation, XlsxError> {
    let day = |date: jiff::civil::Date| {
        let (month, day) = (date.month().unsigned_abs(), date.day().unsigned_abs());
        ExcelDateTime::from_ymd(date.year().unsigned_abs(), month, day)
    };
    let (first, last) = (day(options.season.0)?, day(options.season.1)?);
    Ok(DataValidation::new().allow_date(DataValidationRule::Between(&first, &last)))
}

/// The scale as the list shows it; of sunflower the stages of the head first, where most counts are made.
fn stages(scale: &StageScale) -> Vec<String> {
    if let StageScale::Listed(stages) = scale {
        return stages.to_vec();
    }
    let flowering = (0..=9).map(|tenth| format!("R5.{tenth}"));
    let before = (1..=4).map(|stage| format!("R{stage}"));
    let after = (6..=9).map(|stage| format!("R{stage}"));
    let leaves = (1..=LEAVES_LISTED).map(|leaves| format!("V{leaves}"));
    before
        .chain(flowering)
        .chain(after)
        .chain(["VE".to_owned()])
        .chain(leaves)
        .collect()
}

/// A day as the sheet asks for it: `7/21/2026` or `2026-07-21`.
pub(super) fn day_text(day: jiff::civil::Date, units: Units) -> String {
    match units {
        Units::Us => format!("{}/{}/{}", day.month(), day.day(), day.year()),
        Units::Metric => day.to_string(),
    }
}

/// The format of a cell that holds such a day.
fn day_number_format(units: Units) -> &'static str {
    match units {
        Units::Us => "m/d/yyyy",
        Units::Metric => "yyyy-mm-dd",
    }
}

/// The protocol's currency and the dollar, each once; another may be written.
fn currencies(own: &str) -> Vec<&str> {
    let mut currencies = vec![own];
    currencies.extend(
        ["USD", "CAD", "EUR"]
            .into_iter()
            .filter(|code| *code != own),
    );
    currencies
}

fn whole(length: usize) -> u32 {
    u32::try_from(length).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use scouting::visit::stage::Stage;

    #[test]
    fn every_stage_of_the_list_is_on_the_scale_and_the_list_fits() {
        let stages = stages(&StageScale::Sunflower);
        for stage in &stages {
            assert!(Stage::parse(stage).is_some(), "{stage}");
        }
        assert!(stages.join(",").len() <= LIST_LENGTH_MAX);
    }

    #[test]
    fn a_list_that_a_workbook_cannot_hold_is_left_out() {
        let listed = |choices: &[&str]| {
            let entry = entry(8.0, "@", "").listed(choices, true);
            entry.expect("an entry").check.is_some()
        };
        assert!(listed(&["oilseed", "confection"]));
        assert!(!listed(&["one, two", "three"]));
        assert!(!listed(&["a \"quoted\" one"]));
        assert!(!listed(&["long"; 60]));
    }
}
