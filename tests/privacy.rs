//! No public output holds a field's, farm's, visit's or scout's id, a remark or a point, and none shows a
//! figure of a suppressed county-week. Marked strings go in; every public byte is searched for them.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use arrow::array::RecordBatch;
use arrow::util::display::array_value_to_string;
use bractline::region::Region;
use geo::InteriorPoint;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use serde_json::{Value, json};

use crate::generated::text_of;
use crate::support::{TestWorkspace, contents, lines, visit};

const WEEK: &str = "2026-W30";
/// Counties of South Dakota: shown, too few fields, too few farms, too few fields outside the window, one
/// farm outside the window.
const SHOWN: &str = "46013";
const FEW_FIELDS: &str = "46015";
const FEW_FARMS: &str = "46065";
const FEW_OUTSIDE: &str = "46099";
const ONE_FARM_OUTSIDE: &str = "46103";
const SUPPRESSED: [&str; 4] = [FEW_FIELDS, FEW_FARMS, FEW_OUTSIDE, ONE_FARM_OUTSIDE];

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
        // Digits at the end that no border has, a few hundred metres apart.
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
        self.marks
            .extend([format!("{lon:.5}"), format!("{lat:.5}")]);
    }
}

/// A workspace with the marked visits, its roll-up and its alert; the public files, and the private one.
fn published() -> (TestWorkspace, Marked, BTreeMap<PathBuf, Vec<u8>>, PathBuf) {
    let workspace = TestWorkspace::of_region("us:46");
    let marked = Marked::season();
    let account = workspace.load_text("marked.ndjson", &lines(&marked.visits));
    assert_eq!(account["accepted"], marked.visits.len(), "{account:#}");
    for (folder, period) in [("all", None), ("week", Some("--week=2026-W30"))] {
        let out = text_of(&workspace.beside(folder));
        let mut arguments = vec!["rollup", "--out", &out];
        arguments.push(period.unwrap_or("--dispersion"));
        workspace.run(&arguments).expect_code(0);
    }
    workspace.run(&["alert", "--week", WEEK]).expect_code(0);
    let mut public = BTreeMap::new();
    for folder in [
        workspace.beside("all"),
        workspace.beside("week"),
        workspace.path().join("alerts"),
    ] {
        public.extend(contents(&folder));
    }
    let private = workspace.beside("all").join("field_week.parquet");
    public.retain(|path, _| {
        !path.ends_with("field_week.parquet") && !path.ends_with("visit_dispersion.parquet")
    });
    (workspace, marked, public, private)
}

/// Whether a file names counties by their id: tables and maps of counties do.
fn has_counties(path: &Path) -> bool {
    let name = path.file_name().and_then(|name| name.to_str());
    name.is_some_and(|name| {
        name.starts_with("county_week") && !name.ends_with(".qml") && !name.ends_with(".style.json")
    })
}

/// What a reader of the file gets to see: its bytes, and for Parquet, which is packed, its cells and notes.
pub fn readable(path: &Path, bytes: &[u8]) -> String {
    let mut text = String::from_utf8_lossy(bytes).into_owned();
    if path.extension().is_some_and(|ending| ending == "parquet") {
        let batches = read_parquet(path);
        for batch in &batches {
            text += &format!("{:?}", batch.schema());
            for row in 0..batch.num_rows() {
                text += &row_of(batch, row).join(" ");
                text.push('\n');
            }
        }
    }
    text
}

fn read_parquet(path: &Path) -> Vec<RecordBatch> {
    let file = std::fs::File::open(path).expect("a Parquet file");
    let reader = ParquetRecordBatchReaderBuilder::try_new(file).and_then(|builder| builder.build());
    let batches: Result<Vec<_>, _> = reader.expect("a Parquet file").collect();
    batches.expect("rows")
}

fn row_of(batch: &RecordBatch, row: usize) -> Vec<String> {
    let cells = batch
        .columns()
        .iter()
        .map(|column| match column.is_null(row) {
            true => String::new(),
            false => array_value_to_string(column, row).expect("a value has a text"),
        });
    cells.collect()
}

#[test]
fn no_mark_of_a_field_farm_visit_scout_remark_or_point_is_in_a_public_file() {
    let (_workspace, marked, public, private) = published();
    let names: Vec<_> = public.keys().filter_map(|path| path.file_name()).collect();
    assert_eq!(names.len(), 2 * 14 + 4 + 6, "{names:?}");
    for (path, bytes) in &public {
        let text = readable(path, bytes);
        for mark in &marked.marks {
            assert!(
                !text.contains(mark.as_str()),
                "{} holds {mark}",
                path.display()
            );
        }
        assert!(
            text.contains("46013") || !has_counties(path),
            "{}",
            path.display()
        );
    }
    // The search finds what is there: the private file names fields, farms and visits, and no more than these.
    let text = readable(
        &private,
        &std::fs::read(&private).expect("the private file"),
    );
    for (kind, there) in [
        ("FIELDQX", true),
        ("FARMQX", true),
        ("VISITQX", true),
        ("SCOUTQX", false),
        ("REMARKQX", false),
        ("SIDEQX", false),
        ("zebrafinch", false),
    ] {
        assert_eq!(text.contains(kind), there, "{kind} in field_week.parquet");
    }
}

#[test]
fn a_suppressed_county_week_shows_no_figure_in_any_table() {
    let (_workspace, _, public, _) = published();
    let mut judged = 0;
    for (path, bytes) in public.iter().filter(|(path, _)| has_counties(path)) {
        let rows: Vec<Vec<String>> = match path.extension().and_then(|ending| ending.to_str()) {
            Some("csv") => {
                let text = String::from_utf8_lossy(bytes);
                let rows = text.lines().skip(1);
                rows.map(|row| row.split(',').map(str::to_owned).collect())
                    .collect()
            }
            Some("parquet") if !path.ends_with("county_week.geo.parquet") => {
                let batches = read_parquet(path);
                let rows = batches
                    .iter()
                    .flat_map(|batch| (0..batch.num_rows()).map(move |row| row_of(batch, row)));
                rows.collect()
            }
            _ => continue,
        };
        assert_eq!(rows.len(), 5, "{}", path.display());
        for row in rows {
            // Five columns that name it, seventeen figures, and whether they are withheld. The share smoothed has
            // no value in a county whose neighbours are not shown.
            assert_eq!(row.len(), 23, "{row:?}");
            let hidden = SUPPRESSED.contains(&row[0].as_str());
            assert_eq!(row[22], hidden.to_string(), "{row:?}");
            let figures = row[5..22].iter().enumerate();
            let empty: Vec<usize> = figures
                .filter(|(_, figure)| figure.is_empty())
                .map(|(place, _)| place)
                .collect();
            assert!(
                if hidden {
                    empty.len() == 17
                } else {
                    empty.iter().all(|place| *place == 6)
                },
                "{row:?}"
            );
            judged += 1;
        }
    }
    assert_eq!(judged, 5 * 5, "three CSV files and two of Parquet");
}

/// One county is shown and four are not: there is no pattern, and the sums are those of the one.
#[test]
fn the_week_of_the_region_holds_nothing_of_the_suppressed_counties() {
    let (_workspace, _, public, _) = published();
    let mut judged = 0;
    for (name, expected) in [
        (
            "region_week.csv",
            "season,iso_week,protocol,counties_shown,counties_suppressed,fields_visited,fields_at_threshold,\
             share_at_threshold,mean_pressure,moran_counties,moran_i,moran_p\n\
             2026,2026-W30,bsm-eggs,1,4,5,4,0.8,1.56,,,\n",
        ),
        (
            "region_pressure.csv",
            "season,iso_week,protocol,nothing_found,pressure_from,pressure_below,fields\n\
             2026,2026-W30,bsm-eggs,false,0.75,1.0,1\n\
             2026,2026-W30,bsm-eggs,false,1.0,1.5,1\n\
             2026,2026-W30,bsm-eggs,false,1.5,,3\n",
        ),
        (
            "region_stage.csv",
            "season,iso_week,protocol,crop_stage,fields,fields_in_window\n2026,2026-W30,bsm-eggs,R3,5,5\n",
        ),
    ] {
        for (_, bytes) in public.iter().filter(|(path, _)| path.ends_with(name)) {
            let text = String::from_utf8_lossy(bytes).replace("\r\n", "\n");
            assert_eq!(text, expected, "{name}");
            judged += 1;
        }
    }
    assert_eq!(judged, 6);
}

#[test]
fn the_geoparquet_has_no_figure_of_a_suppressed_county_week() {
    let (_workspace, _, public, _) = published();
    let mut judged = 0;
    for path in public
        .keys()
        .filter(|path| path.ends_with("county_week.geo.parquet"))
    {
        for batch in read_parquet(path) {
            let text = |name: &str, row: usize| {
                let column = batch.column_by_name(name).expect("a column");
                array_value_to_string(column, row).expect("text")
            };
            for row in (0..batch.num_rows()).filter(|row| text("status", *row) == "suppressed") {
                assert!(SUPPRESSED.contains(&text("county_id", row).as_str()));
                let schema = batch.schema();
                let names = schema.fields().iter().map(|field| field.name());
                let shown: Vec<_> = names.filter(|name| !text(name, row).is_empty()).collect();
                let identity = [
                    "county_id",
                    "county_name",
                    "season",
                    "iso_week",
                    "start",
                    "end",
                    "protocol",
                    "status",
                    "suppressed",
                    "geometry",
                    "bbox",
                ];
                assert_eq!(shown, identity);
                judged += 1;
            }
        }
    }
    assert_eq!(judged, 2 * SUPPRESSED.len());
}

/// The points lie in one cell a county; only the county that is shown may have one.
#[test]
fn a_sample_point_says_nothing_of_a_suppressed_county_and_holds_no_figure() {
    let (_workspace, marked, public, _) = published();
    let visited_in_shown = marked.visits.iter().find(|visit| {
        visit["field"]["field_id"]
            .as_str()
            .is_some_and(|id| id.contains(SHOWN))
    });
    let field = &visited_in_shown.expect("a visit in the county that is shown")["field"];
    let mut judged = 0;
    for (path, bytes) in &public {
        if !path.ends_with("sample_points.geojson") {
            continue;
        }
        let map: Value = serde_json::from_slice(bytes).expect("GeoJSON");
        let points = map["features"].as_array().expect("features");
        assert_eq!(points.len(), 1, "{map:#}");
        let properties = points[0]["properties"].as_object().expect("properties");
        let names: Vec<_> = properties.keys().map(String::as_str).collect();
        let expected = [
            "cell", "cell_lat", "cell_lon", "end", "grid_km", "iso_week", "protocol", "season",
            "start",
        ];
        assert_eq!(names, expected);
        let apart = |name: &str| {
            let degrees = |value: &Value| value.as_f64().expect("degrees");
            (degrees(&properties[&format!("cell_{name}")]) - degrees(&field[name])).abs()
        };
        // Half a cell of 10 km: 0.045 degrees of latitude, and at 45 degrees north 0.064 of longitude.
        assert!(
            apart("lat") <= 0.0451 && apart("lon") <= 0.065,
            "{properties:?}"
        );
        judged += 1;
    }
    assert_eq!(judged, 2);
}

#[test]
fn a_suppressed_county_week_shows_no_figure_on_any_map() {
    let (_workspace, _, public, _) = published();
    let maps = public
        .iter()
        .filter(|(path, _)| path.ends_with("county_week.geojson"));
    let mut judged = 0;
    for (path, bytes) in maps {
        let map: Value = serde_json::from_slice(bytes).expect("GeoJSON");
        for feature in map["features"].as_array().expect("features") {
            let properties = feature["properties"].as_object().expect("properties");
            let county = properties["county_id"].as_str().expect("a county");
            let figures = properties.iter().filter(|(name, _)| {
                ["fields_", "share_", "pressure", "area_", "window_"]
                    .iter()
                    .any(|part| name.contains(part))
            });
            let figures: Vec<_> = figures.collect();
            assert_eq!(figures.len(), 17, "{properties:?}");
            if county == SHOWN {
                assert!(
                    figures
                        .iter()
                        .all(|(name, value)| !value.is_null() || *name == "share_smoothed"),
                    "{properties:?}"
                );
                assert_eq!(properties["status"], "pressure");
            } else {
                assert!(
                    figures.iter().all(|(_, value)| value.is_null()),
                    "{properties:?}"
                );
                let suppressed = SUPPRESSED.contains(&county);
                assert_eq!(properties["suppressed"], suppressed, "{}", path.display());
                assert_eq!(properties["status"] == "suppressed", suppressed);
                judged += usize::from(suppressed);
            }
        }
    }
    assert_eq!(judged, 3 * SUPPRESSED.len());
}

#[test]
fn the_page_shows_no_figure_of_a_suppressed_county_and_no_total_that_gives_one_away() {
    let (_workspace, _, public, _) = published();
    let page = public
        .iter()
        .find(|(path, _)| path.ends_with("alert.html"))
        .expect("the page")
        .1;
    let page = String::from_utf8_lossy(page);
    let region = Region::built_in("us:46").expect("South Dakota");
    for county in SUPPRESSED {
        let name = &region.county(county).expect("a county").name;
        let mentions: Vec<&str> = page
            .match_indices(name.as_str())
            .filter_map(|(place, _)| page[place + name.len()..].split('<').next())
            .collect();
        assert!(mentions.len() >= 2, "{name} is on the map and in the table");
        for mention in mentions {
            assert!(
                !mention.contains(|c: char| c.is_ascii_digit()),
                "{name}{mention}"
            );
        }
        let row = page
            .split("<tr")
            .find(|row| row.contains(&format!(">{name}</th>")));
        let row = row
            .expect("its row of the table")
            .split("</tr>")
            .next()
            .unwrap_or_default();
        assert!(row.contains("too few fields"), "{row}");
        let shown: String = row
            .split('>')
            .filter_map(|part| part.split('<').next())
            .collect();
        assert!(!shown.contains(|c: char| c.is_ascii_digit()), "{shown}");
    }
    // The totals are those of the one county with figures: 5 fields, not the 12 in the window.
    assert!(
        page.contains("visited 5 fields in the stage window"),
        "the paragraph counts others too"
    );
    for total in ["9 fields", "10 fields", "12 fields", "18 fields"] {
        assert!(!page.contains(total), "{total}");
    }
}
