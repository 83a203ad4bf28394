//! The method note, `pipeline/README.md`: its tables are those of the functions that the program uses, and of the
//! simulations that are kept with their figures.

use stats::sampling::share_over_line::{chance_of_third, fields_of_third};
use stats::trend::score_needed::{score_needed, slope_detectable};

/// A text of the repository.
fn repository_file(path: &str) -> String {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(path);
    std::fs::read_to_string(path).expect("a text of the repository")
}

/// The cells of the table of a Markdown text under these heads.
fn table(text: &str, heads: &str) -> Vec<Vec<String>> {
    let lines = text.lines().skip_while(|line| !line.starts_with(heads));
    let rows = lines.skip(2).take_while(|line| line.starts_with('|'));
    rows.map(|row| {
        let cells = row.trim_matches('|').split('|');
        cells.map(|cell| cell.trim().to_owned()).collect()
    })
    .collect()
}

fn number(cell: &str) -> f64 {
    let digits = cell.trim_end_matches('%');
    digits
        .parse()
        .unwrap_or_else(|_| panic!("no number: {cell}"))
}

#[test]
fn how_often_a_rule_of_a_third_fires_is_as_the_note_says() {
    let note = repository_file("pipeline/README.md");
    let rows = table(&note, "| fields (needed) |");
    assert_eq!(rows.len(), 6);
    for row in rows {
        let (fields, needed) = row[0].split_once(" (").expect("fields (needed)");
        let fields: u32 = fields.parse().expect("fields");
        assert_eq!(format!("{})", fields_of_third(fields)), needed);
        let shares = [0.05, 0.1, 0.2, 1.0 / 3.0, 0.5, 0.6];
        for (share, cell) in shares.into_iter().zip(&row[1..]) {
            let chance = chance_of_third(fields, share).expect("a sample");
            assert!(
                (chance - number(cell)).abs() < 5.1e-4,
                "{fields} at {share}: {chance}"
            );
        }
    }
}

#[test]
fn what_a_trend_takes_and_what_it_overlooks_is_as_the_note_and_the_simulation_say() {
    let note = repository_file("pipeline/README.md");
    let simulated = repository_file("tests/benches/TRENDS.md");
    let errors = table(&simulated, "| seasons | S needed |");
    let power = table(&simulated, "| seasons | found % at");
    let rows = table(&note, "| seasons | S needed | false, memory 0 |");
    assert_eq!(rows.len(), 7);
    for row in rows {
        let seasons: usize = row[0].parse().expect("seasons");
        let needed = score_needed(seasons).expect("five seasons or more");
        assert_eq!(
            row[1],
            format!("{needed} of {}", seasons * (seasons - 1) / 2)
        );
        let of = |table: &[Vec<String>]| {
            let found = table.iter().find(|other| other[0] == row[0]);
            found.expect("the seasons are simulated").clone()
        };
        let (error, power) = (of(&errors), of(&power));
        assert_eq!(error[1], row[1]);
        for place in 2..5 {
            assert_eq!(
                number(&error[place]).round(),
                number(&row[place]),
                "{seasons}"
            );
            // The promise: 7% at most, within the limits of the simulation.
            assert!(number(&error[place]) <= 7.3, "{seasons}: {error:?}");
        }
        assert_eq!(number(&power[1]).round(), number(&row[5]), "{seasons}");
        assert_eq!(power[3], row[6], "{seasons}");
        let seen = slope_detectable(seasons).expect("five seasons or more");
        assert!((seen - number(&row[6])).abs() < 5e-3, "{seasons}: {seen}");
        assert!((78.0..=82.0).contains(&number(&power[4])), "{power:?}");
    }
}
