//! The county table of the PDF and of the e-mail: the cells of the page's table, each row with the county's number on the map.

use super::super::county_table::{FigureCells, Sortable, TableRow};
use super::content::{Block, Cell, Row, Table, cell};
use crate::alert::bulletin::Bulletin;
use crate::shared::passages::sentence_case;

/// The table of an alert; `week` is the week in words.
pub(super) fn county_block(bulletin: &Bulletin, rows: Vec<TableRow>, week: &str) -> Block {
    let protocol = bulletin.protocol;
    let words = protocol.words();
    let mut heads = vec![
        "County".to_owned(),
        sentence_case(words.several()),
        sentence_case(words.at()),
        format!("% of {} (95% CI)", words.several()),
        "Chance over ⅓".to_owned(),
        format!("Median × {}", words.level()),
    ];
    let previous = bulletin.previous.is_some();
    heads.extend(previous.then(|| "Last week".to_owned()));
    let stage = protocol.treatment_stage.as_ref();
    heads.extend(stage.map(|stage| format!("Projected {stage}")));
    heads.push("Wrong stage (not counted)".to_owned());
    let columns = heads.len();
    let rows = rows.into_iter().map(|row| {
        let number = row
            .number
            .map_or_else(String::new, |number| format!("{number} "));
        let until = row
            .until
            .map_or_else(String::new, |until| format!(" ({until})"));
        let mut cells = vec![cell(&format!("{number}{}{until}", row.place))];
        match &row.figures {
            Some(figures) => cells.extend(figure_cells(figures, previous, stage.is_some())),
            None => cells.push(Cell {
                text: format!("all {} at another crop stage", words.several()),
                columns: columns - 2,
            }),
        }
        let outside = row.other_stage.map(|fields| fields.to_string());
        cells.push(cell(outside.as_deref().unwrap_or("–")));
        Row {
            bold: row.at_threshold,
            cells,
        }
    });
    Block::Table(Table {
        rows: rows.collect(),
        caption: format!(
            "Public figures by county, {week}, with the county's number on the map: {} sampled at {}, those of them at or above \
             {}, the percent of {} (95% confidence interval), the chance that more than a third of all {} are {} if those \
             sampled were a random sample, the class of the median pressure. Bold: at least one {} {}.",
            words.several(),
            protocol.stage_window,
            words.the_level(),
            words.several(),
            words.several(),
            words.at(),
            words.one(),
            words.at()
        ),
        heads,
    })
}

fn figure_cells(figures: &FigureCells, previous: bool, staged: bool) -> Vec<Cell> {
    let or_dash =
        |value: &Option<Sortable>| cell(value.as_ref().map_or("–", |value| value.shown.as_str()));
    let mut cells = vec![
        cell(&figures.fields.to_string()),
        cell(&figures.at_threshold.shown),
        cell(&figures.percent.shown),
        cell(&figures.over_third.shown),
        or_dash(&figures.median),
    ];
    cells.extend(previous.then(|| or_dash(&figures.before)));
    cells.extend(staged.then(|| or_dash(&figures.due)));
    cells
}
