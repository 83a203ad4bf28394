//! Round trip: whatever visit, written in any of our forms, loads as the identical visit.
//!
//! Through real files and the program as a user runs it. Identity is judged from what is stored: the rows of
//! `visits` and `units` put together again, and the digest of the whole record.

mod stored;
mod visits;

use std::path::{Path, PathBuf};

use crate::visit_files::{visits_ndjson, visits_parquet};
use bractline::shared::table_files::{table_csv, table_xlsx};
use intake::mapping::{plain_header, plain_rows};
use intake::sheet::table::Cell;
use proptest::prelude::*;
use scouting::visit::count::Count;
use scouting::visit::heads::Heads;
use scouting::visit::record::Visit;
use serde_json::Value;
use stored::{as_stored, digest, same, visits_of_store};
use visits::{CROP_TYPES, VISITS, visits};

use crate::support::{TestWorkspace, counts, received};

/// Protocols of the test's own, beside `bsm-eggs`: the form of counts, and whether a head has six.
const PROTOCOLS: [(&str, &str); 3] = [
    ("test-heads", "heads"),
    ("test-plants", "plants"),
    ("test-traps", "traps"),
];

const FORMS: [&str; 4] = ["csv", "xlsx", "parquet", "ndjson"];
/// Visits in the plain layout, header and rows: what `load` takes back without a mapping.
fn plain_table(visits: &[Visit]) -> (Vec<String>, Vec<Vec<Cell>>) {
    let sites = visits.iter().flat_map(|visit| &visit.sites);
    let heads = sites.flat_map(|site| site.heads.iter().flat_map(Heads::iter));
    let header = plain_header(heads.map(<[Count]>::len).max().unwrap_or(0));
    let rows = visits.iter().flat_map(plain_rows).map(|mut cells| {
        cells.resize(header.len(), Cell::Empty);
        cells
    });
    let rows = rows.collect();
    (header, rows)
}

fn written(visits: &[Visit], form: &str) -> Vec<u8> {
    let (header, rows) = plain_table(visits);
    let rows = || rows.iter().map(Vec::as_slice);
    let bytes = match form {
        "csv" => table_csv(&header, rows()),
        "xlsx" => table_xlsx("visits", &header, rows()),
        "parquet" => visits_parquet(visits),
        _ => visits_ndjson(visits),
    };
    bytes.unwrap_or_else(|failure| panic!("{form}: {failure}"))
}

/// A workspace that knows protocols of every form of counts.
fn workspace() -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    let settings = workspace.path().join("bractline.toml");
    let mut text = std::fs::read_to_string(&settings).expect("settings");
    for crop_type in CROP_TYPES {
        text += &format!(
            "\n[defaults.{crop_type}]\ntreatment_cost = {{ amount = 8.0, per = \"acre\", currency = \"USD\" }}\n\
             market_value = {{ amount = 0.16, per = \"lb\", currency = \"USD\" }}\n\
             plant_population = {{ count = 20000, per = \"acre\" }}\n"
        );
    }
    std::fs::write(&settings, text).expect("settings");
    let eggs = std::fs::read_to_string("pipeline/protocols/bsm-eggs.toml").expect("a protocol");
    let begin = eggs.find("[plausible.count]").expect("bounds of a count");
    let end = begin + eggs[begin..].find("\n\n").expect("an end of the bounds");
    let bounds = &eggs[begin..end];
    for (id, form) in PROTOCOLS {
        let text = eggs
            .replace("form = \"heads\"", &format!("form = \"{form}\""))
            .replace("counts_per_unit = 6\n", "")
            .replace("unit_totals = true\n", "")
            .replace(bounds, "");
        let path = workspace
            .path()
            .join("protocols")
            .join(format!("{id}.toml"));
        std::fs::write(path, text).expect("a protocol of the workspace");
    }
    workspace
}

fn load_all(workspace: &TestWorkspace, files: &[PathBuf]) -> Value {
    let files: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    workspace.load(&files)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 3, max_shrink_iters: 40, ..ProptestConfig::default() })]

    /// A quarter of the visits comes in each form and is stored as it was; then all of them come in every
    /// form, and none is new, none in conflict.
    #[test]
    fn a_visit_is_the_same_in_every_form(visits in visits()) {
        prop_assert!(visits.iter().all(Visit::conforms));
        let workspace = workspace();
        let quarter = VISITS / FORMS.len();
        let quarters: Vec<PathBuf> = FORMS
            .iter()
            .zip(visits.chunks(quarter))
            .map(|(form, visits)| workspace.write(&format!("quarter.{form}"), written(visits, form)))
            .collect();
        let account = load_all(&workspace, &quarters);
        let expected = received(VISITS as u64).accepted(VISITS as u64);
        prop_assert_eq!(counts(&account), expected, "{:#}", account);

        let stored = visits_of_store(&workspace);
        prop_assert_eq!(stored.len(), VISITS);
        for visit in &visits {
            let key = (visit.visit_id.clone(), u64::from(visit.revision));
            let (report, stored_digest) = &stored[&key];
            let sent = as_stored(visit);
            prop_assert!(same(report, &sent), "stored {report}\nwritten {sent}");
            prop_assert_eq!(stored_digest, &digest(visit));
        }

        let whole: Vec<PathBuf> = FORMS
            .iter()
            .map(|form| workspace.write(&format!("all.{form}"), written(&visits, form)))
            .collect();
        let again = load_all(&workspace, &whole);
        let all = (FORMS.len() * VISITS) as u64;
        prop_assert_eq!(counts(&again), received(all).duplicate(all), "{:#}", again);
    }
}

#[test]
fn no_text_of_a_plain_table_is_a_formula() {
    let mut visit: Visit = serde_json::from_value(crate::support::visit("=1+1")).expect("a visit");
    for text in ["=1+1", "+1", "-1", "@a", "\t=1", "\r=1", "\u{ff1d}1"] {
        visit.remarks = Some(text.to_owned());
        visit.observer_id = text.to_owned();
        let (_, rows) = plain_table(std::slice::from_ref(&visit));
        for cell in rows.iter().flatten() {
            if let Cell::Text(text) = cell {
                let starts = ['=', '+', '-', '@', '\t', '\r', '\n', '\u{ff1d}'];
                assert!(!text.starts_with(starts), "{text:?}");
            }
        }
    }
}
