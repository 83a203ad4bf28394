//! `plan field`: the stop table against Wald's lines, and what is refused.

use serde_json::{Value, json};

use crate::support::bractline;
use crate::support::plan::{csv_rows, plan};

/// Wald, A. 1947, Sequential Analysis, Wiley (citation from memory), its lines for the negative binomial recomputed by
/// hand: means 2 and 4, k 4.6, both risks 0.1 give the slope 2.841808 and the intercepts ±5.128255. Five heads a site,
/// so means 0.4 and 0.8 a head.
#[test]
fn the_stop_table_has_walds_lines_of_the_totals_of_sites() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().join("plan");
    let out_name = out.display().to_string();
    let run = plan(&[
        "--protocol",
        "bsm-eggs",
        "--threshold",
        "0.8",
        "--k",
        "4.6",
        "--risk",
        "0.1",
        "--sites-min",
        "1",
        "--sites-max",
        "30",
        "--format",
        "json",
        "--out",
        &out_name,
    ]);
    let report = run.expect_code(0).json();
    assert_eq!(report["threshold"], 0.8);
    assert_eq!(report["low_mean"], 0.4);
    assert!((report["k_of_site_totals"].as_f64().expect("k") - 4.6).abs() < 1e-9);
    assert!(
        report["scatter_from"]
            .as_str()
            .expect("text")
            .contains("assumed"),
        "{report:#}"
    );
    // (1/m + 1/k) / D² with m = 5 × 0.8 and D = 0.25, the next whole number.
    let exact: f64 = (1.0 / 4.0 + 1.0 / 4.6) / 0.0625;
    assert_eq!(report["sites_for_precision"], exact.ceil());
    let rows = csv_rows(&std::fs::read(out.join("stop_table.csv")).expect("a stop table"));
    assert_eq!(rows.len(), 30);
    for (row, sites) in rows.iter().zip(1..) {
        let middle = 2.841_808 * f64::from(sites);
        let (low, high) = (middle - 5.128_255, middle + 5.128_255);
        let below = (low >= 0.0).then(|| low.floor());
        assert_eq!(row["sites"], f64::from(sites));
        assert_eq!(row["units"], 5.0 * f64::from(sites));
        assert_eq!(row["stop_below_at_or_under"], json!(below), "{row}");
        assert_eq!(row["stop_not_ruled_out_from"], high.ceil(), "{row}");
    }
    let points = std::fs::read(out.join("operating_characteristic.csv")).expect("a table");
    let points = csv_rows(&points);
    let at = |mean: f64, name: &str| {
        let mut found = points.iter();
        let point = found.find(|point| point["true_mean"] == mean);
        point.expect("a point")[name].as_f64().expect("a number")
    };
    // Two standard errors of 20,000 samples at 10% are 0.0042.
    assert!(at(0.4, "probability_not_ruled_out") < 0.1042);
    assert!(at(0.8, "probability_said_below") < 0.1042);
}

/// The lines of the least expected cost, as the card has them: 16 eggs a site at threshold, k 0.9.
#[test]
fn without_error_rates_the_lines_are_those_of_the_least_expected_cost() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().display().to_string();
    let asked = ["--protocol", "bsm-eggs", "--threshold", "3.2", "--k", "0.9"];
    let run = plan(
        &[
            &asked[..],
            &["--sites-max", "16", "--out", &out, "--format", "json"],
        ]
        .concat(),
    );
    let report = run.expect_code(0).json();
    assert_eq!(report["low_mean"], Value::Null);
    assert_eq!(report["miss_cost"], 10.0);
    let rows = csv_rows(&std::fs::read(folder.path().join("stop_table.csv")).expect("a table"));
    let at = |sites: f64| {
        let mut found = rows.iter();
        let row = found.find(|row| row["sites"] == sites).expect("a row");
        [
            "threshold_total",
            "stop_below_at_or_under",
            "stop_not_ruled_out_from",
        ]
        .map(|name| row[name].as_f64())
    };
    // `tests/reference/stop_lines.py` computes the same sums one by one.
    assert_eq!(at(4.0), [Some(64.0), None, Some(77.0)]);
    assert_eq!(at(10.0), [Some(160.0), Some(63.0), Some(142.0)]);
    assert_eq!(at(16.0), [Some(256.0), Some(182.0), Some(183.0)]);
    let points = std::fs::read(folder.path().join("operating_characteristic.csv"));
    let points = csv_rows(&points.expect("a table"));
    let chance = |ratio: f64, name: &str| {
        let mut found = points.iter();
        let is = |point: &&Value| {
            let of_point = point["true_mean_per_threshold"].as_f64();
            of_point.is_some_and(|of_point| (of_point - ratio).abs() < 1e-9)
        };
        found.find(is).expect("a point")[name]
            .as_f64()
            .expect("a number")
    };
    // Exact by the same script: 0.133 and 0.042 of fields at and a quarter above the threshold are said to be below.
    assert!((chance(1.0, "probability_said_below") - 0.133).abs() < 0.011);
    assert!((chance(1.25, "probability_said_below") - 0.042).abs() < 0.007);
    assert!((chance(0.5, "probability_not_ruled_out") - 0.10).abs() < 0.012);

    // The text says the same, a miss that weighs less moves the lines up, and both kinds of lines do not mix.
    let text = plan(&asked).expect_code(0).stdout;
    for says in [
        "below threshold: sum at or under",
        "not ruled out",
        "weighs 10 times",
        "A count of one field",
    ] {
        assert!(text.contains(says), "{says}: {text}");
    }
    assert!(!text.contains("regional"), "{text}");
    let lighter = [
        &asked[..],
        &["--miss-cost", "2", "--sites-max", "16", "--out", &out],
    ]
    .concat();
    plan(&lighter).expect_code(0);
    let rows = csv_rows(&std::fs::read(folder.path().join("stop_table.csv")).expect("a table"));
    assert!(
        rows[0]["stop_not_ruled_out_from"].as_f64() > Some(77.0),
        "{}",
        rows[0]
    );
    plan(&[&asked[..], &["--miss-cost", "2", "--risk", "0.1"]].concat()).expect_code(2);
    let none = plan(&[&asked[..], &["--miss-cost", "0"]].concat()).expect_code(1);
    assert!(none.stderr.contains("where: --miss-cost 0"), "{none:?}");
}

/// The same book's lines for the binomial, recomputed by hand: p₀ 0.1, p₁ 0.3, both risks 0.1 give the slope 0.186169 and
/// the intercepts ±1.627662 a plant.
#[test]
fn infested_or_not_needs_no_k_and_no_economics() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().display().to_string();
    let of_protocol = ["--protocol", "wbc-egg-masses", "--format", "json"];
    let run = plan(
        &[
            &of_protocol[..],
            &[
                "--threshold",
                "0.3",
                "--low",
                "0.3333333333333333",
                "--out",
                &out,
            ],
        ]
        .concat(),
    );
    let report = run.expect_code(0).json();
    assert_eq!(report["k_of_site_totals"], Value::Null);
    // p (1 − p) / units ÷ (D p)² with p = 0.3, twenty plants a site and D = 0.25.
    let exact: f64 = 0.7 / (20.0 * 0.3 * 0.0625);
    assert_eq!(report["sites_for_precision"], exact.ceil());
    let rows = csv_rows(&std::fs::read(folder.path().join("stop_table.csv")).expect("a table"));
    assert_eq!(rows[0]["sites"], 5.0);
    for row in &rows {
        let plants = row["units"].as_f64().expect("a number");
        let (low, high) = (
            0.186_169 * plants - 1.627_662,
            0.186_169 * plants + 1.627_662,
        );
        assert_eq!(row["stop_below_at_or_under"], low.floor(), "{row}");
        assert_eq!(row["stop_not_ruled_out_from"], high.ceil(), "{row}");
    }
    // The protocol's own thresholds: Paula-Moraes et al. 2011, J. Econ. Entomol. 104(6), abstract.
    for (more, threshold) in [(&[][..], 0.08), (&["--stage", "r3"], 0.20)] {
        let report = plan(&[&of_protocol[..], more].concat())
            .expect_code(0)
            .json();
        assert_eq!(report["threshold"], threshold, "{more:?}");
    }
    let sweet = plan(&["--protocol", "wbc-sweet-corn", "--format", "json"]);
    assert_eq!(sweet.expect_code(0).json()["threshold"], 0.04);
}

#[test]
fn fixed_thresholds_need_no_economics() {
    // 4 a trap and night: Colorado State University Extension 2016; 1 a head in confection: from memory.
    for (protocol, crop_type, threshold) in [
        ("sunflower-moth-traps", "oilseed", 4.0),
        ("rssw", "confection", 1.0),
    ] {
        let run = plan(&[
            "--protocol",
            protocol,
            "--crop-type",
            crop_type,
            "--k",
            "2",
            "--format",
            "json",
        ]);
        let report = run.expect_code(0).json();
        assert_eq!(report["threshold"], threshold, "{report:#}");
        let from = report["threshold_from"].as_str().expect("text");
        assert!(from.contains(crop_type), "{from}");
    }
}

/// 8 USD an acre, 0.16 USD a lb, 20,000 plants an acre: 3.205, J. Econ. Entomol. 101(3):969-975 (2008).
#[test]
fn the_threshold_is_that_of_the_economics() {
    let run = plan(&[
        "--protocol",
        "bsm-eggs",
        "--treatment-cost",
        "8/acre",
        "--market-value",
        "0.16/lb",
        "--plants",
        "20000/acre",
        "--k",
        "1",
        "--format",
        "json",
    ]);
    let report = run.expect_code(0).json();
    let threshold = report["threshold"].as_f64().expect("a number");
    assert!((threshold - 3.205).abs() < 0.0005, "{threshold}");
}

#[test]
fn a_wrong_number_is_refused_with_its_option_and_how_to_mend_it() {
    let given = ["--protocol", "bsm-eggs", "--threshold", "3", "--k", "1"];
    let economic = ["--protocol", "bsm-eggs", "--k", "1"];
    let presence = ["--protocol", "wbc-egg-masses"];
    let refused: [(&[&str], &[&str], &str); 27] = [
        (&economic, &["--threshold", "0"], "--threshold 0"),
        (&economic, &["--threshold", "-3"], "--threshold -3"),
        (&economic, &["--threshold", "nan"], "--threshold NaN"),
        (&given[..4], &["--k", "0"], "--k 0"),
        (&given[..4], &["--k", "-1"], "--k -1"),
        (&given[..4], &["--k", "inf"], "--k inf"),
        (&given[..4], &[], "bsm-eggs, --k and --season"),
        (&given, &["--risk", "0.6"], "--risk 0.6"),
        (&given, &["--risk", "0"], "--risk 0"),
        (&given, &["--low", "1"], "--low 1"),
        (&given, &["--low", "-0.5"], "--low -0.5"),
        (&given, &["--precision", "0"], "--precision 0"),
        (&given, &["--precision", "inf"], "--precision inf"),
        (&given, &["--sites-min", "0"], "--sites-min 0"),
        (
            &given,
            &["--sites-min", "4000000000"],
            "--sites-min 4000000000",
        ),
        (
            &given,
            &["--sites-min", "5", "--sites-max", "3"],
            "--sites-max 3",
        ),
        (&given, &["--sites-max", "1000000"], "--sites-max 1000000"),
        (&given, &["--crop-type", "cabbage"], "--crop-type cabbage"),
        (&given, &["--stage", "R6"], "--stage R6"),
        (
            &economic,
            &["--treatment-cost", "8 acre"],
            "--treatment-cost",
        ),
        (&economic, &["--market-value", "8/acre"], "--market-value"),
        (&economic, &["--plants", "0/acre"], "--plants"),
        (&economic, &[], "bsm-eggs, oilseed"),
        (
            &economic,
            &[
                "--treatment-cost",
                "8/acre",
                "--market-value",
                "16/lb",
                "--plants",
                "20000/acre",
            ],
            "economics, market_value",
        ),
        (&presence, &["--threshold", "1.5"], "--threshold 1.5"),
        (&presence, &["--k", "1"], "--k or --season"),
        (&["--protocol", "beetles"], &["--k", "1"], "--protocol"),
    ];
    for (first, more, place) in refused {
        let run = plan(&[first, more].concat()).expect_code(1);
        assert!(
            run.stderr.contains(&format!("\nwhere: {place}")),
            "{more:?} {run:?}"
        );
        assert!(run.stderr.contains("\nhelp:  "), "{run:?}");
        assert_eq!(run.stdout, "");
    }
    let region = plan(&["--protocol", "bertha-armyworm-traps", "--k", "1"]).expect_code(1);
    assert!(region.stderr.contains("no figure of a field"), "{region:?}");
    let nowhere = plan(&[
        "--protocol",
        "bsm-eggs",
        "--threshold",
        "3",
        "--season",
        "2026",
    ]);
    assert!(
        nowhere
            .expect_code(1)
            .stderr
            .contains("help:  name one with --workspace DIR")
    );
}

/// Crop & Pest Report, North Dakota State University, July 15, 2021: 2.6 eggs at 8 USD per acre with 20,000 plants; the price
/// of 0.20 USD per lb is our reading. The others by the protocol's formula, C / (V P 0.00078), by hand.
#[test]
fn thresholds_are_tabulated_by_cost_and_price() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().join("thresholds").display().to_string();
    let table = |more: &[&str]| {
        let asked = [
            "plan",
            "threshold",
            "--protocol",
            "bsm-eggs",
            "--format",
            "json",
        ];
        bractline(&[&asked[..], more].concat())
            .expect_code(0)
            .json()
    };
    let report = table(&["--out", &out]);
    assert_eq!(
        (&report["per_area"], &report["per_weight"]),
        (&json!("acre"), &json!("cwt"))
    );
    assert_eq!(report["plants"], 20_000.0);
    assert_eq!(report["costs"], json!([6.0, 8.0, 10.0, 12.0, 14.0, 16.0]));
    assert_eq!(report["prices"], json!([12.0, 16.0, 20.0, 24.0, 28.0]));
    let cell = |row: usize, column: usize| {
        let found = &report["thresholds"][row][column];
        found.as_f64().expect("a number")
    };
    for ((row, column), (cost, price)) in [
        ((1, 2), (8.0, 0.20)),
        ((0, 0), (6.0, 0.12)),
        ((5, 4), (16.0, 0.28)),
    ] {
        let expected = cost / (price * 20_000.0 * 0.000_78);
        assert!(
            (cell(row, column) - expected).abs() < 1e-9,
            "{cost}, {price}"
        );
    }
    assert!((cell(1, 2) - 2.6).abs() < 0.05);
    let rows = csv_rows(&std::fs::read(format!("{out}/threshold_table.csv")).expect("a table"));
    assert_eq!(rows.len(), 30);
    assert_eq!(rows[7]["threshold"], report["thresholds"][1][2]);
    let page = std::fs::read_to_string(format!("{out}/threshold_table.html")).expect("a page");
    for says in [
        "$20.00",
        "<td>2.6</td>",
        "The label is the law",
        "not a treatment recommendation",
    ] {
        assert!(page.contains(says), "{says}");
    }
    assert!(!page.contains("http:") && !page.contains("https:") && !page.contains("<script"));

    let own = table(&[
        "--treatment-cost",
        "20/acre",
        "--market-value",
        "30/cwt",
        "--plants",
        "18000/acre",
    ]);
    assert_eq!(
        (&own["costs"][1], &own["prices"][1], &own["plants"]),
        (&json!(20.0), &json!(30.0), &json!(18_000.0))
    );
    for (protocol, more, says) in [
        (
            "stem-weevil",
            vec![],
            "depends on no treatment cost and market price",
        ),
        (
            "rssw",
            vec!["--crop-type", "confection"],
            "depends on no treatment cost and market price",
        ),
        (
            "bsm-eggs",
            vec!["--market-value", "1600/cwt"],
            "not plausible",
        ),
        (
            "bsm-eggs",
            vec!["--market-value", "16/ton"],
            "no amount with a unit",
        ),
    ] {
        let asked = ["plan", "threshold", "--protocol", protocol];
        let run = bractline(&[&asked[..], &more].concat()).expect_code(1);
        assert!(run.stderr.contains(says), "{protocol}: {}", run.stderr);
    }
}
