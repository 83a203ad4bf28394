//! A table of thresholds in words: its caption, as lines for a terminal, and as Markdown.

use super::threshold_table::ShownTable;

/// What the table is, in a sentence or two. `name` is what its source calls the level, `counted` what it counts.
pub(crate) fn caption(table: &ShownTable, name: &str, counted: &str) -> String {
    format!(
        "The {name} ({counted}) by treatment cost and market price, for {}: computed with the protocol's formula, as each \
         field's own is. Look up your own cost and price; another plant population gives another {name}.",
        table.field
    )
}

/// The table as lines of equal columns.
pub(crate) fn lines(table: &ShownTable) -> Vec<String> {
    let columns = table.columns.iter().map(|text| text.chars().count());
    let cells = table.rows.iter().flat_map(|row| &row.1);
    let width = columns.chain(cells.map(|text| text.chars().count())).max();
    let width = width.unwrap_or_default();
    let line = |first: &str, rest: &[String]| {
        let rest = rest.iter().map(|text| format!("  {text:>width$}"));
        format!("{first:<24}{}", rest.collect::<String>())
    };
    let mut lines = vec![
        format!("{:<24}  {}", "", table.prices),
        line(&table.costs, &table.columns),
    ];
    lines.extend(table.rows.iter().map(|(cost, row)| line(cost, row)));
    lines
}

/// The table as Markdown.
pub(crate) fn markdown(table: &ShownTable) -> String {
    let line = |first: &str, rest: &[String]| format!("| {first} | {} |", rest.join(" | "));
    let head = format!("{} / {}", table.costs, table.prices.to_lowercase());
    let mut lines = vec![
        line(&head, &table.columns),
        format!("|---|{}", "--:|".repeat(table.columns.len())),
    ];
    lines.extend(table.rows.iter().map(|(cost, row)| line(cost, row)));
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table() -> ShownTable {
        ShownTable {
            class: "us",
            field: "oilseed, 20,000 plants per acre".to_owned(),
            costs: "Treatment cost per acre".to_owned(),
            prices: "Market price per cwt".to_owned(),
            columns: vec!["$16.00".to_owned(), "$20.00".to_owned()],
            rows: vec![("$8.00".to_owned(), vec!["3.2".to_owned(), "2.6".to_owned()])],
        }
    }

    #[test]
    fn a_table_is_read_in_a_terminal_and_in_an_e_mail() {
        assert_eq!(
            lines(&table()),
            [
                "                          Market price per cwt",
                "Treatment cost per acre   $16.00  $20.00",
                "$8.00                        3.2     2.6",
            ]
        );
        assert_eq!(
            markdown(&table()),
            "| Treatment cost per acre / market price per cwt | $16.00 | $20.00 |\n|---|--:|--:|\n| $8.00 | 3.2 | 2.6 |"
        );
    }
}
