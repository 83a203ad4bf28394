//! Seasons with known scatter: fields of small counties, visited in two weeks.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use geo::InteriorPoint;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, Poisson};
use scouting::region::Region;
use serde_json::{Value, json};

use crate::support::{TestWorkspace, lines, text_of, visit};

/// Counties of South Dakota that have visits; one of them too few for a public row.
pub const COUNTIES: usize = 36;

/// The place among them of the county with two fields.
pub const SMALL: usize = 7;

/// The place of the county with a second week, in which it alone was visited.
pub const SECOND_WEEK: usize = 3;

pub const DAY: &str = "2026-07-21";

pub const DAY_AFTER_A_WEEK: &str = "2026-07-28";

/// A row of a CSV file by its columns.
pub type Row = BTreeMap<String, String>;

/// Counts with k = 0.8 a head; the mean is drawn by field, and rises from county to county.
pub struct Scouting {
    pub chance: ChaCha8Rng,
    pub region: Region,
}

impl Scouting {
    pub fn begin() -> Scouting {
        Scouting {
            chance: ChaCha8Rng::seed_from_u64(4),
            region: Region::built_in("us:46").expect("South Dakota"),
        }
    }

    pub fn draw(&mut self, shape: f64, mean: f64) -> f64 {
        let gamma = Gamma::new(shape, mean / shape).expect("a shape and a scale above 0");
        gamma.sample(&mut self.chance)
    }

    pub fn visit(&mut self, county: usize, field: usize, day: &str) -> Value {
        let county_of_field = &self.region.counties()[county];
        let (lon, lat) = county_of_field
            .shape
            .interior_point()
            .expect("a county has an inside")
            .x_y();
        let id = county_of_field.id.clone();
        let mut made = visit(&format!("v-{id}-{field}-{day}"));
        made["observed_on"] = day.into();
        made["submitted_at"] = format!("{day}T18:00:00Z").into();
        made["field"]["field_id"] = format!("{id}Z{field}").into();
        made["field"]["farm_id"] = format!("{id}Y{field}").into();
        made["field"]["lon"] = lon.into();
        made["field"]["lat"] = (lat + 0.001 * field as f64).into();
        // Southern counties have more, so that neighbors are alike.
        let mean = self.draw(3.0, 2.0 * (44.5 - lat).exp());
        let sites = (1..=4).map(|site| {
            let heads = (0..5).map(|_| {
                let lambda = self.draw(0.8, mean).max(1e-9);
                let eggs = Poisson::new(lambda).expect("a mean above 0");
                let eggs = eggs.sample(&mut self.chance) as u64;
                json!([eggs / 2, 0, eggs - eggs / 2, 0, 0, 0])
            });
            json!({"site": site, "heads": heads.collect::<Vec<_>>()})
        });
        made["sites"] = sites.collect();
        made
    }

    pub fn season() -> Vec<Value> {
        let mut scouting = Scouting::begin();
        let mut all = Vec::new();
        for county in 0..COUNTIES {
            let fields = if county == SMALL { 2 } else { 5 + county % 2 };
            for field in 0..fields {
                let mut made = scouting.visit(county, field, DAY);
                if county == 1 && field == 0 {
                    // Nothing found: it tells nothing of k, and counts as a field.
                    for site in made["sites"].as_array_mut().expect("sites") {
                        site["heads"] = json!(vec![[0; 6]; 5]);
                    }
                }
                if county == 4 && field == 0 {
                    // One egg a site: the site means are equal, and their variance but a rounding.
                    let mut heads = vec![[0; 6]; 5];
                    heads[2][1] = 1;
                    made["sites"] = (1..=3)
                        .map(|site| json!({"site": site, "heads": heads}))
                        .collect();
                }
                all.push(made);
                if county == 2 && field == 0 {
                    // A correction, which takes the place of what was first handed in.
                    let mut corrected = scouting.visit(county, field, DAY);
                    corrected["revision"] = 2.into();
                    all.push(corrected);
                }
            }
        }
        for field in 0..5 {
            all.push(scouting.visit(SECOND_WEEK, field, DAY_AFTER_A_WEEK));
        }
        all
    }
}

/// A workspace with these visits, and the private folder of its roll-up with the scatter.
pub fn rolled_up(visits: &[Value]) -> (TestWorkspace, PathBuf) {
    let workspace = TestWorkspace::of_region("us:46");
    let account = workspace.load_text("visits.ndjson", &lines(visits));
    assert_eq!(account["accepted"], visits.len(), "{account:#}");
    let out = workspace.beside("figures");
    workspace
        .run(&["rollup", "--dispersion", "--out", &text_of(&out)])
        .expect_code(0);
    (workspace, out.join("private"))
}

pub fn rows(folder: &Path, name: &str) -> Vec<Row> {
    let mut reader = csv::Reader::from_path(folder.join(name)).expect("a table");
    let rows = reader.deserialize().collect::<Result<Vec<Row>, _>>();
    rows.expect("rows")
}

#[track_caller]
pub fn number(row: &Row, name: &str) -> f64 {
    row[name]
        .parse()
        .unwrap_or_else(|_| panic!("no {name}: {row:?}"))
}
