//! A season's scatter against a reference library, and the card in a browser.

use serde_json::{Value, json};

use crate::judge::{node, python};
use crate::support::plan::{csv_rows, plan};
use crate::support::{TestWorkspace, full_visit, lines};

#[test]
fn the_scatter_of_a_season_is_the_power_law_of_its_visits() {
    let workspace = TestWorkspace::of_region("us:46");
    let visits: Vec<Value> = (0..24).map(uneven_visit).collect();
    workspace.load_text("visits.ndjson", &lines(&visits));
    let figures = workspace.beside("figures").display().to_string();
    workspace.run(&["rollup", "--out", &figures]).expect_code(0);
    let field_week = format!("{figures}/private/field_week.parquet");
    let reference = python(
        "tests/reference/field_figures.py",
        &["law", &field_week, "2026", "bsm-eggs"],
    );
    let law: Value = serde_json::from_str(&reference).expect("JSON");
    let number = |name: &str| law[name].as_f64().expect("a number");
    assert!(number("samples") >= 20.0, "{law}");
    let (a, b) = (number("a"), number("b"));
    let out = workspace.beside("plan");
    let out_name = out.display().to_string();
    let of_season = [
        "plan",
        "field",
        "--protocol",
        "bsm-eggs",
        "--threshold",
        "2",
    ];
    let asked = [
        &of_season[..],
        &["--season", "2026", "--out", &out_name, "--format", "json"],
    ];
    let report = workspace.run(&asked.concat()).expect_code(0).json();
    let said = report["scatter_from"].as_str().expect("text");
    let by_numpy = format!(
        "estimated from {} visits of the season 2026: the variance of site means is {a:.3} times the mean to the power {b:.3}",
        number("samples")
    );
    assert!(said.contains(&by_numpy), "{said}\n{by_numpy}");
    // Totals of five heads: mean 10, variance 25 · a · 2^b; k by moments, and variance ÷ (D · mean)².
    let variance = 25.0 * a * 2_f64.powf(b);
    let k = report["k_of_site_totals"]
        .as_f64()
        .expect("aggregated counts");
    assert!((k / (100.0 / (variance - 10.0)) - 1.0).abs() < 1e-6, "{k}");
    let sites = (variance / (0.25_f64 * 10.0).powi(2)).ceil();
    assert_eq!(report["sites_for_precision"], sites);
    // Green 1970: T ≥ (a' · n^(1 − b) / D²)^(1 / (2 − b)) of the totals, a' = 5^(2 − b) · a.
    for row in csv_rows(&std::fs::read(out.join("stop_table.csv")).expect("a table")) {
        let sites = row["sites"].as_f64().expect("a number");
        let of_totals = 5_f64.powf(2.0 - b) * a;
        let green = (of_totals * sites.powf(1.0 - b) / 0.0625).powf(1.0 / (2.0 - b));
        // Where the variance grows with the mean squared or faster, no total is ever enough.
        let expected = (b < 2.0).then(|| green.ceil());
        assert_eq!(row["precise_from"].as_f64(), expected, "{b} {row}");
    }

    let other = [&of_season[..], &["--season", "2025"]].concat();
    let run = workspace.run(&other).expect_code(1);
    for says in ["2025 has too few visits", "\nwhere: 0 visits", "\nhelp:  "] {
        assert!(run.stderr.contains(says), "{run:?}");
    }
}

/// Lines of the least expected cost, computed by SciPy over all sums, and what a sample of them ends with.
#[test]
fn stop_lines_and_their_chances_are_those_of_the_reference() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().display().to_string();
    for (threshold, k, miss, most) in [("3.2", "0.9", "10", "16"), ("1.1", "2.5", "4", "9")] {
        let asked = [
            "--protocol",
            "bsm-eggs",
            "--threshold",
            threshold,
            "--k",
            k,
            "--out",
            &out,
        ];
        let more = ["--miss-cost", miss, "--sites-max", most];
        plan(&[&asked[..], &more].concat()).expect_code(0);
        let reference = python(
            "tests/reference/stop_lines.py",
            &[threshold, k, "5", "4", most, miss],
        );
        let reference: Value = serde_json::from_str(&reference).expect("JSON");
        let rows = csv_rows(&std::fs::read(folder.path().join("stop_table.csv")).expect("a table"));
        for (row, expected) in rows.iter().zip(reference["rows"].as_array().expect("rows")) {
            let numbers = ["sites", "stop_below_at_or_under", "stop_not_ruled_out_from"];
            let ours = numbers.map(|name| row[name].as_f64());
            let theirs = [0, 1, 2].map(|place| expected[place].as_f64());
            assert_eq!(ours, theirs, "{threshold} {k}");
        }
        let points = std::fs::read(folder.path().join("operating_characteristic.csv"));
        for point in csv_rows(&points.expect("a table")) {
            let number = |name: &str| point[name].as_f64().expect("a number");
            let expected = reference["points"]
                .as_array()
                .expect("points")
                .iter()
                .find(|one| {
                    let ratio = one["ratio"].as_f64().expect("a number");
                    (ratio - number("true_mean_per_threshold")).abs() < 1e-9
                });
            let expected = expected.expect("the same means");
            let exact = expected["not_ruled_out"].as_f64().expect("a number");
            // Four and a half standard errors of 20,000 samples.
            let allowed = 4.5 * (exact * (1.0 - exact) / 20_000.0).sqrt() + 1e-4;
            let distance = (number("probability_not_ruled_out") - exact).abs();
            assert!(distance <= allowed, "{point} {expected}");
            let sites = expected["sites"].as_f64().expect("a number");
            assert!(
                (number("mean_sites") - sites).abs() < 0.2,
                "{point} {expected}"
            );
        }
    }
}

/// A visit whose sites differ, the more the more there is, and less than in proportion.
fn uneven_visit(number: usize) -> Value {
    let mut visit = full_visit(&format!("uneven-{number}"));
    visit["field"]["field_id"] = format!("F-{number}").into();
    let most = number % 6;
    visit["sites"] = (1..=4)
        .map(|site| {
            let eggs = most + (site * 7 + number * 5) % 5 * (1 + most / 2);
            json!({"site": site, "heads": vec![[eggs, 0, 0, 0, 0, 0]; 5]})
        })
        .collect();
    visit
}

#[test]
fn the_card_is_one_page_that_needs_nothing_else_and_says_what_the_table_says() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let cards: [(&str, &[&str], &[&str]); 3] = [
        (
            "bsm-eggs",
            &["--threshold", "3.205", "--k", "0.9", "--sites-max", "16"],
            &[
                "5 heads at each site",
                "65 eggs in 4 sites",
                "over all sides",
                "bees work the field",
                "k = 0.9",
            ],
        ),
        (
            "wbc-egg-masses",
            &[],
            &[
                "20 plants at each site",
                "by chance alone",
                "counting masses overstates",
            ],
        ),
        (
            "sunflower-moth-traps",
            &["--k", "2", "--sites-max", "8"],
            &[
                "divided by its trap-nights",
                "at least 1 site,",
                "not how many lay in this field",
            ],
        ),
    ];
    for (protocol, more, says) in cards {
        let out = folder.path().join(protocol);
        let out_name = out.display().to_string();
        let asked = ["--protocol", protocol, "--out", &out_name];
        plan(&[&asked[..], more].concat()).expect_code(0);
        let card = out.join("stop_card.html").display().to_string();
        let pdf = out.join("card.pdf").display().to_string();
        let seen = node("tests/reference/print_card.mjs", &[&card, &pdf]);
        let seen: Value = serde_json::from_str(&seen).expect("JSON");
        assert_eq!(seen["asked"], json!([]), "{protocol}");
        assert_eq!(seen["references"], json!([]), "{protocol}");
        assert_eq!(seen["tooWide"], false, "{protocol}");
        assert_eq!(seen["pages"], json!({"A4": 1, "Letter": 1}), "{protocol}");
        let source = std::fs::read_to_string(&card).expect("a card");
        for banned in ["http:", "https:", "url(", "@import"] {
            assert!(!source.contains(banned), "{protocol}: {banned}");
        }
        let text = seen["text"].as_str().expect("text");
        let cautions = [
            "The label is the law",
            "certified applicator",
            "Bees",
            "Restricted-entry",
            "Scout your own field",
            "Your own safety first",
            "threshold not ruled out: stop and treat it as at threshold",
        ];
        for needed in cautions.iter().chain(says) {
            assert!(text.contains(needed), "{protocol} lacks {needed:?}: {text}");
        }
        let table = std::fs::read(out.join("stop_table.csv")).expect("a stop table");
        let table = csv_rows(&table);
        let reached = |row: &Value| row["precise_from"].as_f64() <= row["threshold_total"].as_f64();
        let is_precise = table
            .iter()
            .any(|row| !row["precise_from"].is_null() && reached(row));
        let rows: Vec<Value> = table
            .iter()
            .map(|row| {
                let number = |name: &str| row[name].as_f64();
                let cell =
                    |total: Option<f64>| total.map_or("–".to_owned(), |total| total.to_string());
                let threshold = number("threshold_total");
                let mut cells = vec![
                    cell(number("sites")),
                    cell(threshold),
                    cell(number("stop_below_at_or_under")),
                    cell(number("stop_not_ruled_out_from")),
                ];
                // Only where a field at threshold gets there within the most sites.
                if is_precise {
                    let precise = number("precise_from").filter(|total| Some(*total) <= threshold);
                    cells.push(cell(precise));
                }
                cells.push(String::new());
                json!(cells)
            })
            .collect();
        assert_eq!(seen["rows"], json!(rows), "{protocol}");
        // Numbers of the simulation at the means that the card names.
        let points = std::fs::read(out.join("operating_characteristic.csv")).expect("a table");
        let points = csv_rows(&points);
        for (place, ratio) in [0.5, 0.75, 1.0, 1.25, 1.5].into_iter().enumerate() {
            let of_mean = |point: &&Value| {
                let found = point["true_mean_per_threshold"].as_f64();
                found.is_some_and(|found| (found - ratio).abs() < 1e-9)
            };
            let point = points.iter().find(of_mean).expect("a point");
            let number = |name: &str| point[name].as_f64().expect("a number");
            let percent = |name: &str| format!("{:.0}%", 100.0 * number(name));
            assert_eq!(
                seen["sure"][0][place + 1],
                json!(percent("probability_said_below"))
            );
            assert_eq!(
                seen["sure"][1][place + 1],
                json!(percent("probability_not_ruled_out"))
            );
            let sites = format!("{:.1}", number("mean_sites"));
            assert_eq!(seen["sure"][2][place + 1], json!(sites));
        }
    }
}
