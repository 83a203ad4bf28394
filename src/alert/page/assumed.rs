//! The sentence about thresholds that are based on assumed economics. How many there are the public rows say.

use crate::shared::shown_numbers::count_of;
use disclosure::public_row::PublicRow;

/// How many of the fields shown are based on economics that the office assumed; nothing where no row gives a number.
/// They are never mixed with the others without a word.
pub(crate) fn what_is_assumed(rows: &[PublicRow]) -> Option<String> {
    let with_fields = || rows.iter().filter(|row| row.fields_visited > 0);
    let assumed: u32 = with_fields()
        .filter_map(|row| row.fields_with_assumed_economics)
        .sum();
    // A row that would describe one or two fields says nothing.
    let hidden = with_fields().any(|row| row.fields_with_assumed_economics.is_none());
    let start = match (assumed, hidden) {
        (0, false) => return None,
        (0, true) => "A few records lack".to_owned(),
        (some, hidden) => format!(
            "The records of {}{} lack",
            if hidden { "at least " } else { "" },
            count_of(some as usize, "field", "fields")
        ),
    };
    Some(format!(
        "{start} a treatment cost, a market price or a plant population; their thresholds use this office's default \
         for the crop type."
    ))
}
