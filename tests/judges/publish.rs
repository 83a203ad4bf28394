//! Hostile text in pages as a parser of others reads it, and tables opened by other programs.

use std::sync::Arc;

use arrow::array::{ArrayRef, BooleanArray, Float64Array, Int64Array, RecordBatch, StringArray};
use bractline::alert::page::html::alert_html;
use bractline::shared::files::write_file;
use bractline::shared::tables::{ColumnDoc, write_csv, write_parquet};
use serde_json::{Value, json};

use crate::support::publish::{bulletin, protocol};
use crate::support::week_rows::{NOTICE, region, region_named, shown};

/// What a hostile name would need to get out of its place.
fn hostile_names() -> Vec<String> {
    vec![
        "<script>alert(1)</script>".to_owned(),
        "\"><img src=x onerror=alert(1)>".to_owned(),
        "' onmouseover='alert(1)".to_owned(),
        "</title></svg><script>alert(2)</script>".to_owned(),
        "]]><!--".to_owned(),
        "\u{202e}drawkcab\u{2066}\u{200f}".to_owned(),
        "n".repeat(10_000),
        "🌻🐛👩‍🌾".to_owned(),
        "{{ 7 * 7 }}{% raw %}".to_owned(),
        "&lt;b&gt;".to_owned(),
        "\u{5d0}\u{5d1}\u{5d2}".to_owned(),
        "=1+1".to_owned(),
        "a\0b\u{7}".to_owned(),
        "javascript:alert(1)".to_owned(),
        "</style><style>*{display:none}".to_owned(),
        "ok".to_owned(),
    ]
}

#[test]
fn hostile_text_is_inert_in_the_page_and_the_map() {
    let names = hostile_names();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let region = region_named(&names);
    let rows: Vec<_> = (0..14).map(|place| shown(place, 5, 2, 1.2, 1.5)).collect();
    let mut facts = protocol();
    let attack = "</p><script>alert(3)</script>\" onload=\"x";
    for text in [
        &mut facts.title,
        &mut facts.counted,
        &mut facts.source,
        &mut facts.stage_window,
    ] {
        *text = attack.to_owned();
    }
    facts.treatment = Some(attack.to_owned());
    facts.cautions = vec![attack.to_owned()];
    let mut bulletin = bulletin(&region, &rows, None, &facts);
    bulletin.generated_at = attack;
    let page = alert_html(&bulletin).expect("a page");
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("page.html");
    write_file(&path, page.as_bytes()).expect("written");
    let plain = alert_html(&self::bulletin(&self::region(), &rows, None, &protocol()));
    let plain_path = folder.path().join("plain.html");
    write_file(&plain_path, plain.expect("a page").as_bytes()).expect("written");
    let report = crate::judge::python(
        "tests/reference/check_map_files.py",
        &["same-elements", text(&path), text(&plain_path)],
    );
    assert_eq!(report.trim(), "the same elements and attributes");
    for unseen in ['\0', '\u{7}', '\u{202e}', '\u{2066}', '\u{200f}'] {
        assert!(!page.contains(unseen), "{unseen:?}");
    }
}

fn text(path: &std::path::Path) -> &str {
    path.to_str().expect("a UTF-8 path")
}

// ---- the files ----

#[test]
fn the_tables_open_in_other_programs_with_their_meaning() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let columns: [(&str, ArrayRef); 4] = [
        (
            "county_name",
            Arc::new(StringArray::from(vec!["=Alder", "Birch \"B\", north"])),
        ),
        (
            "fields_visited",
            Arc::new(Int64Array::from(vec![Some(5), None])),
        ),
        (
            "median_pressure",
            Arc::new(Float64Array::from(vec![Some(0.1 + 0.2), None])),
        ),
        ("in_window", Arc::new(BooleanArray::from(vec![false, true]))),
    ];
    let table = RecordBatch::try_from_iter(columns).expect("columns of one length");
    let doc = |name, description, unit| ColumnDoc {
        name,
        description,
        unit,
    };
    let docs = [
        doc("county_name", "Name of the county", None),
        doc(
            "fields_visited",
            "Fields with a visit in the stage window",
            Some("fields"),
        ),
        doc(
            "median_pressure",
            "Median of the fields' pressures; 1 = at threshold",
            Some("1"),
        ),
        doc("in_window", "Whether the stage is in the window", None),
    ];
    let parquet = folder.path().join("county_week.parquet");
    let csv = folder.path().join("county_week.csv");
    let bytes = write_parquet(&table, &docs, Some(NOTICE)).expect("Parquet");
    write_file(&parquet, &bytes).expect("written");
    write_file(&csv, &write_csv(&table, &docs).expect("CSV")).expect("written");
    let report = crate::judge::python(
        "tests/reference/check_map_files.py",
        &["tables", text(&parquet), text(&csv)],
    );
    let report: Value = serde_json::from_str(&report).expect("JSON");
    assert_eq!(report["invented"], NOTICE);
    assert_eq!(report["compression"], "ZSTD");
    assert_eq!(
        report["columns"],
        json!({
            "county_name": {"description": "Name of the county"},
            "fields_visited": {"description": "Fields with a visit in the stage window", "unit": "fields"},
            "median_pressure": {"description": "Median of the fields' pressures; 1 = at threshold", "unit": "1"},
            "in_window": {"description": "Whether the stage is in the window"},
        })
    );
    assert_eq!(report["rows_differ"], json!([]));
    assert_eq!(report["first_name_in_csv"], "'=Alder");
}
