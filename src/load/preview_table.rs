//! The first records of a submission as a table for a terminal, below what becomes of each column.

use super::preview::{Preview, PreviewRow};
use crate::shared::report::counted;
use crate::shared::unseen::plain_text;
use intake::mapping::ColumnUse;

/// Letters of a cell; what is longer is cut.
const CELL_MAX: usize = 40;

/// The headings of the visits, with their units.
const HEADINGS: [&str; 14] = [
    "line", "becomes", "field", "day", "scout", "crop", "stage", "area ha", "cost", "price",
    "plants", "sites", "units", "mean",
];

/// What becomes of each column, one a line.
pub(super) fn column_lines(columns: &[ColumnUse]) -> Vec<String> {
    if columns.is_empty() {
        return Vec::new();
    }
    let mut rows = vec![[
        "column".to_owned(),
        "header".to_owned(),
        "becomes".to_owned(),
    ]];
    rows.extend(columns.iter().map(|column| {
        [
            cell(&column.column),
            cell(&column.header),
            plain_text(&column.becomes),
        ]
    }));
    aligned(&rows)
}

/// The visits, one a line, and below a held one its first finding.
pub(super) fn visit_lines(preview: &Preview, received: u64) -> Vec<String> {
    let mut rows = vec![HEADINGS.map(str::to_owned)];
    rows.extend(preview.visits.iter().map(cells));
    let mut lines = Vec::new();
    let findings =
        std::iter::once(None).chain(preview.visits.iter().map(|row| row.finding.as_ref()));
    for (line, finding) in aligned(&rows).into_iter().zip(findings) {
        lines.push(line);
        lines.extend(finding.map(|finding| format!("    {}", plain_text(finding))));
    }
    let more = received.saturating_sub(preview.visits.len() as u64);
    if more > 0 {
        lines.push(format!(
            "  … and {} more; --rows all shows all",
            counted(more, "record", "records")
        ));
    }
    lines
}

fn cells(row: &PreviewRow) -> [String; 14] {
    let text = |text: &Option<String>| text.as_deref().map_or_else(|| "-".to_owned(), cell);
    let number = |number: Option<f64>| number.map_or_else(|| "-".to_owned(), shown);
    let count =
        |count: Option<u32>| count.map_or_else(|| "-".to_owned(), |count| count.to_string());
    let amount =
        |amount: Option<f64>, currency: &Option<String>, per: Option<&str>| match (amount, per) {
            (Some(amount), Some(per)) => {
                let currency = currency
                    .as_ref()
                    .map_or_else(String::new, |currency| format!(" {currency}"));
                format!("{}{currency}/{per}", shown(amount))
            }
            _ => "-".to_owned(),
        };
    [
        row.line.to_string(),
        row.becomes.to_owned(),
        text(&row.field_id.clone().or_else(|| row.visit_id.clone())),
        text(&row.observed_on),
        text(&row.observer_id),
        text(&row.crop_type),
        text(&row.crop_stage),
        number(row.area_ha),
        amount(
            row.treatment_cost_amount,
            &row.treatment_cost_currency,
            row.treatment_cost_per,
        ),
        amount(
            row.market_value_amount,
            &row.market_value_currency,
            row.market_value_per,
        ),
        amount(row.plant_population_count, &None, row.plant_population_per),
        count(row.sites),
        count(row.units),
        number(row.mean),
    ]
}

/// A number for reading: three decimals at the most. CSV and JSON have all of them.
fn shown(number: f64) -> String {
    ((number * 1_000.0).round() / 1_000.0).to_string()
}

fn cell(text: &str) -> String {
    let text = plain_text(text);
    match text.chars().count() > CELL_MAX {
        true => text.chars().take(CELL_MAX - 1).chain(['…']).collect(),
        false => text,
    }
}

/// Rows with their columns below each other.
fn aligned<const N: usize>(rows: &[[String; N]]) -> Vec<String> {
    let width = |place: usize| {
        rows.iter()
            .map(|row| row[place].chars().count())
            .max()
            .unwrap_or(0)
    };
    let widths: Vec<usize> = (0..N).map(width).collect();
    let line = |row: &[String; N]| {
        let cells: Vec<String> = row
            .iter()
            .zip(&widths)
            .map(|(text, width)| format!("{text:width$}"))
            .collect();
        format!("  {}", cells.join("  ").trim_end())
    };
    rows.iter().map(line).collect()
}
