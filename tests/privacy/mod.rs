//! No public output holds a field's, farm's, visit's or scout's id, a remark or a point, and none shows a figure of a
//! county whose fields are withheld. Marked strings go in; every public byte is searched for them.

mod tables;
mod views;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use geo::InteriorPoint;
use scouting::region::Region;
use serde_json::{Value, json};

use crate::support::privacy::{read_parquet, row_of};
use crate::support::{Row, TestWorkspace, contents, csv_rows, lines, text_of, visit};

const WEEK: &str = "2026-W30";

/// Counties of South Dakota: shown, too few fields, too few farms, too few fields outside the window, one
/// farm outside the window.
const SHOWN: &str = "46013";

const FEW_FIELDS: &str = "46015";

const FEW_FARMS: &str = "46065";

const FEW_OUTSIDE: &str = "46099";

const ONE_FARM_OUTSIDE: &str = "46103";

const WITHHELD: [&str; 4] = [FEW_FIELDS, FEW_FARMS, FEW_OUTSIDE, ONE_FARM_OUTSIDE];

/// Marked visits, and every marked string in them.
pub struct Marked {
    /// The visits.
    pub visits: Vec<Value>,
    /// The strings.
    pub marks: Vec<String>,
}

impl Marked {
    /// Of five counties, one of which is shown.
    pub fn season() -> Marked {
        let region = Region::built_in("us:46").expect("South Dakota");
        let mut marked = Marked {
            visits: Vec::new(),
            marks: vec!["zebrafinch".to_owned()],
        };
        for (county, fields, farms, stage) in [
            (SHOWN, 5, 4, "R3"),
            (FEW_FIELDS, 2, 2, "R3"),
            (FEW_FARMS, 5, 2, "R2"),
            (FEW_OUTSIDE, 2, 2, "R5.1"),
            (ONE_FARM_OUTSIDE, 4, 1, "R1"),
        ] {
            let county = region.county(county).expect("a county of South Dakota");
            let inside = county
                .shape
                .interior_point()
                .expect("a county has an inside");
            for field in 0..fields {
                let farm = format!("FARMQX{}Z{}", county.id, field % farms);
                marked.add(&county.id, field, &farm, stage, inside.x_y());
            }
        }
        marked
    }

    fn add(&mut self, county: &str, field: usize, farm: &str, stage: &str, (lon, lat): (f64, f64)) {
        let number = format!("{county}Z{field}");
        // Digits at the end that no border has, a few hundred meters apart.
        let (lon, lat) = (
            (lon * 100.0).round() / 100.0 + 0.003_371_3 + 0.000_1 * field as f64,
            (lat * 100.0).round() / 100.0 + 0.004_919_7,
        );
        let mut visit = visit(&format!("VISITQX{number}"));
        visit["observer_id"] = format!("SCOUTQX{number}").into();
        visit["field"]["field_id"] = format!("FIELDQX{number}").into();
        visit["field"]["farm_id"] = farm.into();
        visit["field"]["lon"] = lon.into();
        visit["field"]["lat"] = lat.into();
        visit["field"]["outline"] = json!({"type": "Polygon", "coordinates": [[
            [lon, lat], [lon + 0.001, lat], [lon + 0.001, lat + 0.001], [lon, lat]]]});
        visit["crop_stage"] = stage.into();
        visit["remarks"] = format!("a zebrafinch sat on REMARKQX{number}").into();
        // Between half and over the threshold, so that every figure differs from 0.
        visit["sites"] = json!([{"site": 1, "lon": lon, "lat": lat, "side": "SIDEQX", "heads": [[2 + field, 0, 1, 0, 0, 0]]}]);
        self.visits.push(visit);
        for kind in ["VISITQX", "SCOUTQX", "FIELDQX", "REMARKQX"] {
            self.marks.push(format!("{kind}{number}"));
        }
        self.marks.extend([farm.to_owned(), "SIDEQX".to_owned()]);
        for degrees in [lon, lat] {
            self.marks.extend([format!("{degrees:.5}"), cut(degrees)]);
        }
    }
}

/// The first five decimals of a number, as they are in its text with all of them.
fn cut(degrees: f64) -> String {
    let text = degrees.to_string();
    let point = text.find('.').expect("decimals");
    text[..text.len().min(point + 6)].to_owned()
}

/// Everything that is published of the marked visits.
struct Published {
    _workspace: TestWorkspace,
    marked: Marked,
    /// Every public file: of both roll-ups, a draft, an issued alert, a package and the public place.
    public: BTreeMap<PathBuf, Vec<u8>>,
    /// The folder of the office.
    private: PathBuf,
}

fn published() -> Published {
    let workspace = TestWorkspace::of_region("us:46");
    let marked = Marked::season();
    let account = workspace.load_text("marked.ndjson", &lines(&marked.visits));
    assert_eq!(account["accepted"], marked.visits.len(), "{account:#}");
    workspace
        .run(&["alert", "--week", WEEK, "--issue"])
        .expect_code(0);
    workspace.run(&["alert", "--week", WEEK]).expect_code(0);
    for (folder, period) in [("all", "--dispersion"), ("week", "--week=2026-W30")] {
        let out = text_of(&workspace.beside(folder));
        workspace
            .run(&["rollup", "--out", &out, period])
            .expect_code(0);
    }
    let package = workspace.beside("package");
    let arguments = ["export", "--level", "public", "--out", &text_of(&package)];
    workspace.run(&arguments).expect_code(0);
    let place = workspace.beside("place");
    workspace
        .run(&["publish", "--to", &text_of(&place)])
        .expect_code(0);
    let mut public = BTreeMap::new();
    for folder in [
        workspace.beside("all").join("public"),
        workspace.beside("week").join("public"),
        workspace.path().join("alerts").join(WEEK),
        workspace.path().join("alerts/issued"),
        package,
        place,
    ] {
        let files = contents(&folder);
        assert!(!files.is_empty(), "{}", folder.display());
        public.extend(files);
    }
    Published {
        private: workspace.beside("all").join("private"),
        _workspace: workspace,
        marked,
        public,
    }
}

/// The rows of a table of CSV or Parquet.
fn rows_of(path: &Path, bytes: &[u8]) -> Vec<Row> {
    if path.extension().is_some_and(|ending| ending == "parquet") {
        let batches = read_parquet(path);
        let rows = batches.iter().flat_map(|batch| {
            let schema = batch.schema();
            let names = schema.fields().iter().map(|field| field.name().clone());
            let names: Vec<String> = names.collect();
            (0..batch.num_rows()).map(move |row| {
                names
                    .clone()
                    .into_iter()
                    .zip(row_of(batch, row))
                    .collect::<Row>()
            })
        });
        return rows.collect();
    }
    csv_rows(bytes)
}

/// The public tables of this name, each with its rows.
fn tables<'a>(public: &'a BTreeMap<PathBuf, Vec<u8>>, name: &str) -> Vec<(&'a Path, Vec<Row>)> {
    let [csv, parquet] = ["csv", "parquet"].map(|ending| format!("{name}.{ending}"));
    let named = public
        .iter()
        .filter(|(path, _)| path.ends_with(&csv) || path.ends_with(&parquet));
    named
        .map(|(path, bytes)| (path.as_path(), rows_of(path, bytes)))
        .collect()
}
