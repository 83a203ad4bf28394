//! Sheets in usual layouts, what a person answers of their drafts, and the visits that they hold. All of it is invented.

use serde_json::Value;

use super::draft_grids::{
    Grid, by_bract, by_head, by_site, by_total, header, long, names, texts, totals_by_site, traps,
    wide, workbook,
};
use super::draft_visits::{Form, PLAIN, Seen, US, Writing, metric, month_first};

/// A sheet, the answers to its draft, and its visits.
pub struct Layout {
    pub name: &'static str,
    pub file: &'static str,
    tabs: Vec<(&'static str, Grid)>,
    /// Between the cells of a text file.
    delimiter: char,
    /// Texts of the draft and what is written in their place.
    pub answers: Vec<(String, String)>,
    pub truth: Vec<Value>,
}

impl Layout {
    /// The file: a workbook if its name says so, else a text file of the first tab.
    pub fn bytes(&self) -> Vec<u8> {
        if self.file.ends_with("xlsx") {
            return workbook(&self.tabs);
        }
        let quoted = |cell: &String| match cell.contains([self.delimiter, '"']) {
            true => format!("\"{}\"", cell.replace('"', "\"\"")),
            false => cell.clone(),
        };
        let line = |row: &Vec<String>| {
            row.iter()
                .map(quoted)
                .collect::<Vec<_>>()
                .join(&self.delimiter.to_string())
        };
        let lines: Vec<String> = self.tabs[0].1.iter().map(line).collect();
        (lines.join("\r\n") + "\r\n").into_bytes()
    }
}

fn answers(pairs: &[(&str, &str)]) -> Vec<(String, String)> {
    let answer = |(question, answer): &(&str, &str)| ((*question).to_owned(), (*answer).to_owned());
    pairs.iter().map(answer).collect()
}

/// What the draft of each sheet asks: the protocol and the day of submission.
fn usual() -> Vec<(String, String)> {
    answers(&[
        ("\"/protocol\" = \"?\"", "\"/protocol\" = \"bsm-eggs\""),
        (
            "\"/submitted_at\" = \"?\"",
            "\"/submitted_at\" = \"2026-08-10T12:00:00Z\"",
        ),
    ])
}

/// And whose dollars they are.
fn dollars() -> Vec<(String, String)> {
    let currencies = answers(&[
        (
            "\"/economics/treatment_cost/currency\" = \"?\"",
            "\"/economics/treatment_cost/currency\" = \"USD\"",
        ),
        (
            "\"/economics/market_value/currency\" = \"?\"",
            "\"/economics/market_value/currency\" = \"USD\"",
        ),
    ]);
    [usual(), currencies].concat()
}

fn layout(name: &'static str, grid: Grid, form: Form) -> Layout {
    Layout {
        name,
        file: "north.csv",
        tabs: vec![("Visits", grid)],
        delimiter: ',',
        answers: dollars(),
        truth: US
            .iter()
            .map(|seen| seen.truth("north", form, false))
            .collect(),
    }
}

/// All of them.
pub fn layouts() -> Vec<Layout> {
    let letters = names([2, 2, 6], |[site, head, bract]| {
        format!("S{site}H{head}B{bract}")
    });
    let bracts = names([6], |[bract]| format!("B{bract}"));
    let with = |more: &[&str], names: &[String]| [header(more), names.to_vec()].concat();
    let mut all = vec![
        layout(
            "one row a bract",
            long(
                header(&["Site", "Bud", "Bract", "Eggs"]),
                &US,
                &PLAIN,
                by_bract,
            ),
            Form::Bracts,
        ),
        layout(
            "one row a head, `B1` to `B6`",
            long(with(&["Site", "Head"], &bracts), &US, &PLAIN, by_head),
            Form::Bracts,
        ),
        layout(
            "one row a site, `H1B1` to `H2B6`",
            long(
                with(
                    &["Site"],
                    &names([2, 6], |[head, bract]| format!("H{head}B{bract}")),
                ),
                &US,
                &PLAIN,
                by_site,
            ),
            Form::Bracts,
        ),
        layout(
            "one row a visit, `S1H1B1`",
            wide(with(&[], &letters), &PLAIN),
            Form::Bracts,
        ),
        layout(
            "one row a visit, `Site 1 Bud 2 Bract 3`",
            wide(
                with(
                    &[],
                    &names([2, 2, 6], |[site, head, bract]| {
                        format!("Site {site} Bud {head} Bract {bract}")
                    }),
                ),
                &PLAIN,
            ),
            Form::Bracts,
        ),
        layout(
            "one row a bud with its total",
            long(header(&["Site", "Bud", "Eggs"]), &US, &PLAIN, by_total),
            Form::Totals,
        ),
        layout(
            "one row a site, a total a bud",
            long(
                header(&["Site", "Bud 1", "Bud 2"]),
                &US,
                &PLAIN,
                totals_by_site,
            ),
            Form::Totals,
        ),
    ];
    all.extend([
        two_header_rows(),
        units_row(),
        titles_and_totals(letters.clone()),
        first_row_alone(),
    ]);
    all.extend([
        french(),
        spanish(),
        traps_layout(),
        plants(),
        workbook_with_tabs(letters),
        words(),
    ]);
    all
}

fn two_header_rows() -> Layout {
    let upper = [
        vec![String::new(); 11],
        texts(&["Site 1", "", "Site 2", ""]),
    ]
    .concat();
    let lower = header(&["Bud 1", "Bud 2", "Bud 1", "Bud 2"]);
    let row = |seen: &Seen| {
        let totals = seen
            .totals()
            .into_iter()
            .flatten()
            .map(|total| total.to_string())
            .collect();
        [seen.cells(&PLAIN), totals].concat()
    };
    let grid = [vec![upper, lower], US.iter().map(row).collect()].concat();
    layout("two header rows: sites over buds", grid, Form::Totals)
}

fn units_row() -> Layout {
    let names = [
        "Field", "Date", "Scout", "Long", "Lat", "Area", "Crop", "Stage", "Cost", "Price",
        "Plants", "Site", "Bud", "Eggs",
    ];
    let units = [
        "", "", "", "", "", "(ac)", "", "", "($/ac)", "($/lb)", "(1/ac)", "", "", "",
    ];
    let mut grid = long(texts(&names), &US, &PLAIN, by_total);
    grid.insert(1, texts(&units));
    layout("a row of units below the header", grid, Form::Totals)
}

fn titles_and_totals(letters: Vec<String>) -> Layout {
    let write = Writing {
        day: month_first,
        crop: |crop| {
            if crop == "oilseed" {
                "Oil".to_owned()
            } else {
                "Conf".to_owned()
            }
        },
        ..PLAIN
    };
    let mut grid = wide([header(&[]), letters].concat(), &write);
    for row in &mut grid[1..] {
        row[8] = format!("${}", row[8]);
        row.push("zz".to_owned());
    }
    grid[0].push("Entered by".to_owned());
    grid.insert(0, Vec::new());
    grid.insert(0, texts(&["Egg counts of the north office, invented"]));
    grid.push(texts(&["Total of 2 fields", "", "", "", "", "162.5"]));
    let mut layout = layout(
        "titles above, totals below, `$8.25`, month first, a column of no use",
        grid,
        Form::Bracts,
    );
    layout.answers.extend(answers(&[
        ("name = \"Entered by\"\nto = \"?\"\n", ""),
        ("ignore = []", "ignore = [\"Entered by\"]"),
        ("[[field]]\n# Column AJ \"Entered by\" is not known. Cells: \"zz\", \"zz\".\n# DECIDE: what this column is; if no member takes it, delete these lines and list the column in ignore.\n", ""),
    ]));
    layout
}

fn first_row_alone() -> Layout {
    let mut grid = long(
        header(&["Site", "Head", "Bract", "Eggs"]),
        &US,
        &PLAIN,
        by_bract,
    );
    let mut last = String::new();
    for row in &mut grid[1..] {
        match row[0] == last {
            true => row[..11].fill(String::new()),
            false => last.clone_from(&row[0]),
        }
    }
    layout(
        "one row a bract, the visit in its first row alone",
        grid,
        Form::Bracts,
    )
}

fn french() -> Layout {
    let write = Writing {
        decimal: ",",
        day: |day| format!("{}/{}/{}", &day[8..], &day[5..7], &day[..4]),
        crop: |crop| {
            if crop == "oilseed" {
                "Oléagineux".to_owned()
            } else {
                "Bouche".to_owned()
            }
        },
        ..PLAIN
    };
    let names = [
        "Parcelle",
        "Date de visite",
        "Observateur",
        "Longitude",
        "Latitude",
        "Superficie (ha)",
        "Culture",
        "Stade",
        "Coût ($/ha)",
        "Prix ($/kg)",
        "Plantes/ha",
        "Site",
        "Capitule",
        "Bractée 1",
        "Bractée 2",
        "Bractée 3",
        "Bractée 4",
        "Bractée 5",
        "Bractée 6",
    ];
    let visits = metric();
    Layout {
        file: "nord.csv",
        delimiter: ';',
        truth: visits
            .iter()
            .map(|seen| seen.truth("nord", Form::Bracts, true))
            .collect(),
        ..layout(
            "French headers, decimal comma, day first",
            long(texts(&names), &visits, &write, by_head),
            Form::Bracts,
        )
    }
}

fn spanish() -> Layout {
    let write = Writing {
        decimal: ",",
        day: |day| format!("{}-{}-{}", &day[8..], &day[5..7], &day[..4]),
        crop: |crop| {
            if crop == "oilseed" {
                "Aceitero".to_owned()
            } else {
                "Confitero".to_owned()
            }
        },
        ..PLAIN
    };
    let names = [
        "Lote",
        "Fecha",
        "Observador",
        "Longitud",
        "Latitud",
        "Superficie (ha)",
        "Cultivo",
        "Estadio",
        "Costo (USD/ha)",
        "Precio (USD/kg)",
        "Plantas/ha",
        "Sitio",
        "Capítulo",
        "Huevos",
    ];
    let visits = metric();
    Layout {
        file: "norte.csv",
        delimiter: ';',
        answers: usual(),
        truth: visits
            .iter()
            .map(|seen| seen.truth("norte", Form::Totals, true))
            .collect(),
        ..layout(
            "Spanish headers, decimal comma, day first",
            long(texts(&names), &visits, &write, by_total),
            Form::Totals,
        )
    }
}

fn traps_layout() -> Layout {
    let write = Writing {
        stage: "R5.1",
        ..PLAIN
    };
    let grid = long(header(&["Trap", "Moths", "Nights"]), &US, &write, traps);
    let mut layout = layout("traps, one row a trap", grid, Form::Traps);
    layout.answers[0].1 = "\"/protocol\" = \"sunflower-moth-traps\"".to_owned();
    layout.answers.extend(answers(&[(
        "\"/sites/{site}/site\" = \"?\"",
        "\"/sites/{site}/site\" = 1",
    )]));
    layout
}

fn plants() -> Layout {
    let grid = long(
        header(&["Stop", "Plant 1", "Plant 2"]),
        &US,
        &PLAIN,
        totals_by_site,
    );
    let mut layout = layout("plants, one row a site", grid, Form::Totals);
    layout.answers[0].1 = "\"/protocol\" = \"bsm-adults\"".to_owned();
    for truth in &mut layout.truth {
        truth["protocol"] = "bsm-adults".into();
    }
    layout
}

fn workbook_with_tabs(letters: Vec<String>) -> Layout {
    let grid = wide([header(&[]), letters].concat(), &PLAIN);
    let (header, rows) = (grid[0].clone(), &grid[1..]);
    let lists = vec![texts(&["Code", "Meaning"]), texts(&["R3", "bud"])];
    Layout {
        file: "north.xlsx",
        tabs: vec![
            ("Week 30", vec![header.clone(), rows[0].clone()]),
            ("Week 31", vec![header, rows[1].clone()]),
            ("Lists", lists),
        ],
        ..layout(
            "a workbook with a tab a week, and a tab of lists",
            grid,
            Form::Bracts,
        )
    }
}

fn words() -> Layout {
    let write = Writing {
        day: |day| format!("{}-Jul-{}", &day[8..], &day[2..4]),
        ..PLAIN
    };
    let names = [
        "FIELD_ID",
        "Visit date",
        "Observer",
        "Longitude",
        "Latitude",
        "Acres",
        "Crop type",
        "Growth stage",
        "Cost, USD per acre",
        "Price, USD/lb",
        "Plants per acre",
        "Site no.",
        "Bud #",
        "Egg count",
    ];
    Layout {
        answers: usual(),
        ..layout(
            "months by name, units in words",
            long(texts(&names), &US, &write, by_total),
            Form::Totals,
        )
    }
}
