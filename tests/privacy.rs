//! No public output holds a field's, farm's, visit's or scout's id, a remark or a point, and none shows a figure of a
//! county whose fields are withheld. Marked strings go in; every public byte is searched for them.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use arrow::util::display::array_value_to_string;
use bractline::region::Region;
use bractline::statistics::share_interval::wilson;
use geo::InteriorPoint;
use serde_json::{Value, json};

use crate::support::generated::text_of;
use crate::support::privacy::{read_parquet, readable, row_of};
use crate::support::{IDENTITY, Row, TestWorkspace, contents, csv_rows, lines, visit};

const WEEK: &str = "2026-W30";

/// Counties of South Dakota: shown, too few fields, too few farms, too few fields outside the window, one
/// farm outside the window.
const SHOWN: &str = "46013";

const FEW_FIELDS: &str = "46015";

const FEW_FARMS: &str = "46065";

const FEW_OUTSIDE: &str = "46099";

const ONE_FARM_OUTSIDE: &str = "46103";

const WITHHELD: [&str; 4] = [FEW_FIELDS, FEW_FARMS, FEW_OUTSIDE, ONE_FARM_OUTSIDE];

/// The fields of the second and third taken together: seven fields of four farms.
const POOL: &str = "elsewhere in the region";

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

/// Whether a file names counties by their id: tables and maps of counties do.
fn has_counties(path: &Path) -> bool {
    let name = path.file_name().and_then(|name| name.to_str());
    name.is_some_and(|name| {
        name.starts_with("county_week") && !name.ends_with(".qml") && !name.ends_with(".style.json")
    })
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

#[test]
fn no_mark_of_a_field_farm_visit_scout_remark_or_point_is_in_a_public_file() {
    let published = published();
    let public = &published.public;
    let names: Vec<_> = public.keys().filter_map(|path| path.file_name()).collect();
    // Two roll-ups, a draft with the page of its week, the alert, the package, and the public place.
    assert_eq!(names.len(), 2 * 16 + 8 + 7 + 20 + 10, "{names:?}");
    for (path, bytes) in public {
        let text = readable(path, bytes);
        for mark in &published.marked.marks {
            assert!(
                !text.contains(mark.as_str()),
                "{} holds {mark}",
                path.display()
            );
        }
        assert!(
            text.contains(SHOWN) || !has_counties(path),
            "{}",
            path.display()
        );
    }
    // The search finds what is there: the private file names fields, farms and visits, their points, and no more.
    let private = published.private.join("field_week.parquet");
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
    for visit in &published.marked.visits {
        for name in ["lon", "lat"] {
            let degrees = visit["field"][name].as_f64().expect("degrees");
            let mark = cut(degrees);
            assert!(text.contains(&mark), "{mark} in field_week.parquet");
        }
    }
}

#[test]
fn a_withheld_county_has_no_row_in_any_table() {
    let published = published();
    let found = tables(&published.public, "county_week");
    // CSV of two roll-ups, the draft, the alert, the package and the public place; Parquet of three of them.
    assert_eq!(found.len(), 6 + 3);
    for (path, rows) in &found {
        let [row] = rows.as_slice() else {
            panic!("{}: {rows:?}", path.display());
        };
        // A package also has the days, the word and in Parquet the outline that a map has.
        let of_map = ["status", "start", "end", "geometry", "bbox"];
        let columns = row.keys().filter(|name| !of_map.contains(&name.as_str()));
        assert_eq!(columns.count(), 23, "{row:?}");
        for (name, value) in [
            ("county_id", SHOWN),
            ("edition", "1"),
            ("level", "survey"),
            ("fields_visited", "5"),
            // Four of five; all and all but one look the same.
            ("at_threshold_min", "4"),
            ("at_threshold_max", "5"),
            ("median_class", "1.5+"),
            ("fields_with_assumed_economics", "0"),
            ("fields_outside_stage", "0"),
        ] {
            assert_eq!(row[name], value, "{name} in {}", path.display());
        }
        // No neighbor is shown, the class has no upper bound, and five fields are too few for a mean.
        let empty = row.iter().filter(|(_, cell)| cell.is_empty());
        let empty: Vec<&str> = empty.map(|(name, _)| name.as_str()).collect();
        assert_eq!(empty, ["mean_pressure", "median_below", "share_smoothed"]);
    }
    // Their fields in the stage window come together elsewhere; those outside it are one farm's for the most part.
    let found = tables(&published.public, "elsewhere_week");
    assert_eq!(found.len(), 6 + 3);
    for (path, rows) in &found {
        let [row] = rows.as_slice() else {
            panic!("{}: {rows:?}", path.display());
        };
        for (name, value) in [
            ("place", POOL),
            ("fields_visited", "7"),
            ("at_threshold_min", "5"),
            ("at_threshold_max", "5"),
            ("fields_outside_stage", ""),
        ] {
            assert_eq!(row[name], value, "{name} in {}", path.display());
        }
    }
    // No other table names any of them, nor does any file of the period that is no map or page of all counties.
    let region = Region::built_in("us:46").expect("South Dakota");
    let mut judged = 0;
    for (path, bytes) in &published.public {
        let name = path.file_name().and_then(|name| name.to_str());
        let names_all = [
            "alert.html",
            "alert.md",
            "county_week.geojson",
            "county_week.geo.parquet",
        ];
        if name.is_none_or(|name| names_all.contains(&name)) {
            continue;
        }
        let text = readable(path, bytes);
        for county in WITHHELD {
            let name = &region.county(county).expect("a county").name;
            assert!(!text.contains(county), "{county} in {}", path.display());
            assert!(
                !text.contains(name.as_str()),
                "{name} in {}",
                path.display()
            );
        }
        judged += 1;
    }
    // All but six files of maps and two pages and texts of an alert in three places.
    assert_eq!(judged, published.public.len() - 7 - 6);
    // The office has all five, in full precision.
    let full = published.private.join("county_week_full.csv");
    let rows = rows_of(&full, &std::fs::read(&full).expect("the private table"));
    let figures = rows.iter().map(|row| {
        let of = [
            "fields_visited",
            "fields_at_threshold",
            "fields_outside_stage",
        ];
        (row["county_id"].as_str(), of.map(|name| row[name].as_str()))
    });
    assert_eq!(
        figures.collect::<Vec<_>>(),
        [
            (SHOWN, ["5", "4", "0"]),
            (FEW_FIELDS, ["2", "1", "0"]),
            (FEW_FARMS, ["5", "4", "0"]),
            (FEW_OUTSIDE, ["0", "0", "2"]),
            (ONE_FARM_OUTSIDE, ["0", "0", "4"]),
        ]
    );
}

/// Every figure of the region follows from rows that are public beside it: it holds nothing else.
#[test]
fn the_tables_of_the_region_are_sums_of_public_rows() {
    let published = published();
    let folders: BTreeSet<&Path> = tables(&published.public, "region_week")
        .iter()
        .filter_map(|(path, _)| path.parent())
        .collect();
    assert_eq!(folders.len(), 3, "two roll-ups and a package");
    for folder in folders {
        for ending in ["csv", "parquet"] {
            let rows = |name: &str| {
                let path = folder.join(format!("{name}.{ending}"));
                rows_of(&path, &published.public[&path])
            };
            sums_of_public_rows(rows);
        }
    }
}

fn sums_of_public_rows(rows: impl Fn(&str) -> Vec<Row>) {
    let (counties, elsewhere) = (rows("county_week"), rows("elsewhere_week"));
    let every = || counties.iter().chain(&elsewhere);
    let number = |row: &Row, name: &str| row[name].parse::<u32>().expect("a count");
    let sum = |name: &str| every().map(|row| number(row, name)).sum::<u32>();
    let [visited, least, most] =
        ["fields_visited", "at_threshold_min", "at_threshold_max"].map(sum);
    assert_eq!([visited, least, most], [12, 9, 10]);
    let region = rows("region_week");
    let [week] = region.as_slice() else {
        panic!("{region:?}");
    };
    let some = every().filter(|row| number(row, "at_threshold_min") > 0);
    let expected = [
        ("season", "2026".to_owned()),
        ("iso_week", WEEK.to_owned()),
        ("protocol", "bsm-eggs".to_owned()),
        ("counties_shown", counties.len().to_string()),
        ("elsewhere_rows", elsewhere.len().to_string()),
        ("places_at_threshold", some.count().to_string()),
        ("fields_visited", visited.to_string()),
        ("at_threshold_min", least.to_string()),
        ("at_threshold_max", most.to_string()),
        // Of one county there is no pattern.
        ("moran_counties", String::new()),
        ("moran_i", String::new()),
        ("moran_p", String::new()),
    ];
    for (name, value) in &expected {
        assert_eq!(week[*name], *value, "{name}");
    }
    for (name, end) in [
        ("share_low", wilson(least, visited).expect("some")[0]),
        ("share_high", wilson(most, visited).expect("some")[1]),
    ] {
        let found: f64 = week[name].parse().expect("a share");
        assert!((found - end).abs() < 1e-12, "{name}: {found}, {end}");
    }
    assert_eq!(week.len(), expected.len() + 2, "{week:?}");
    let classes = rows("region_median");
    let [class] = classes.as_slice() else {
        panic!("{classes:?}");
    };
    let of_county = |name: &str| counties[0][name].clone();
    for name in [
        "season",
        "iso_week",
        "protocol",
        "median_class",
        "median_from",
        "median_below",
    ] {
        assert_eq!(class[name], of_county(name), "{name}");
    }
    assert_eq!(class["counties"], "1");
    assert_eq!(class.len(), 7);
    // The stages of a row add up to its fields: five of R2 are of two farms, and join the two of R3.
    let stages = rows("region_stage");
    let said = stages.iter().map(|row| {
        assert_eq!(row.len(), 6, "{row:?}");
        (
            row["crop_stage"].as_str(),
            row["in_window"].as_str(),
            number(row, "fields"),
        )
    });
    assert_eq!(
        said.collect::<Vec<_>>(),
        [("R2–R3", "true", 7), ("R3", "true", 5)]
    );
}

#[test]
fn the_geoparquet_has_no_figure_of_a_withheld_county() {
    let published = published();
    let (mut judged, mut shown) = (0, 0);
    for path in published
        .public
        .keys()
        .filter(|path| path.ends_with("county_week.geo.parquet"))
    {
        for batch in read_parquet(path) {
            let text = |name: &str, row: usize| {
                let column = batch.column_by_name(name).expect("a column");
                array_value_to_string(column, row).expect("text")
            };
            for row in 0..batch.num_rows() {
                if text("county_id", row) == SHOWN {
                    assert_eq!(text("status", row), "median");
                    assert_eq!(text("fields_visited", row), "5");
                    shown += 1;
                    continue;
                }
                assert_eq!(text("status", row), "no-figures");
                let schema = batch.schema();
                let names = schema.fields().iter().map(|field| field.name());
                let filled: Vec<_> = names.filter(|name| !text(name, row).is_empty()).collect();
                assert_eq!(filled, [&IDENTITY[..], &["geometry", "bbox"]].concat());
                judged += usize::from(WITHHELD.contains(&text("county_id", row).as_str()));
            }
        }
    }
    // The map of the whole store has rows alone; that of the week every county of the region.
    assert_eq!((shown, judged), (2, WITHHELD.len()));
}

/// The points lie in one cell a county; only the county that is shown may have one.
#[test]
fn a_sample_point_says_nothing_of_a_withheld_county_and_holds_no_figure() {
    let published = published();
    let visited_in_shown = published.marked.visits.iter().find(|visit| {
        visit["field"]["field_id"]
            .as_str()
            .is_some_and(|id| id.contains(SHOWN))
    });
    let field = &visited_in_shown.expect("a visit in the county that is shown")["field"];
    let apart = |cell: f64, name: &str| (cell - field[name].as_f64().expect("degrees")).abs();
    // Half a cell of 10 km: 0.045 degrees of latitude, and at 45 degrees north 0.064 of longitude.
    let within = |lon: f64, lat: f64| apart(lat, "lat") <= 0.0451 && apart(lon, "lon") <= 0.065;
    let mut judged = 0;
    for (path, bytes) in &published.public {
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
        let degrees = |name: &str| properties[name].as_f64().expect("degrees");
        assert!(
            within(degrees("cell_lon"), degrees("cell_lat")),
            "{properties:?}"
        );
        judged += 1;
    }
    assert_eq!(judged, 2);
    // The package has the same as a table.
    let found = tables(&published.public, "sample_point");
    assert_eq!(found.len(), 2);
    for (path, rows) in found {
        let [row] = rows.as_slice() else {
            panic!("{}: {rows:?}", path.display());
        };
        // In Parquet the point is there as a geometry too.
        let names = row.keys().map(String::as_str);
        let names: Vec<_> = names
            .filter(|name| !["geometry", "bbox"].contains(name))
            .collect();
        let expected = [
            "cell", "cell_lat", "cell_lon", "grid_km", "iso_week", "protocol", "season",
        ];
        assert_eq!(names, expected);
        let degrees = |name: &str| row[name].parse().expect("degrees");
        assert!(within(degrees("cell_lon"), degrees("cell_lat")), "{row:?}");
    }
}

#[test]
fn a_withheld_county_shows_no_figure_on_any_map() {
    let published = published();
    let maps = published
        .public
        .iter()
        .filter(|(path, _)| path.ends_with("county_week.geojson"));
    let (mut judged, mut shown) = (0, 0);
    for (path, bytes) in maps {
        let map: Value = serde_json::from_slice(bytes).expect("GeoJSON");
        for feature in map["features"].as_array().expect("features") {
            let properties = feature["properties"].as_object().expect("properties");
            let county = properties["county_id"].as_str().expect("a county");
            let figures = properties
                .iter()
                .filter(|(name, _)| !IDENTITY.contains(&name.as_str()));
            let figures: Vec<_> = figures.collect();
            assert_eq!(figures.len(), 18, "{properties:?}");
            if county == SHOWN {
                let empty = figures.iter().filter(|(_, value)| value.is_null());
                let empty: Vec<&str> = empty.map(|(name, _)| name.as_str()).collect();
                assert_eq!(empty, ["mean_pressure", "median_below", "share_smoothed"]);
                assert_eq!(properties["status"], "median");
                shown += 1;
            } else {
                assert!(
                    figures.iter().all(|(_, value)| value.is_null()),
                    "{properties:?}"
                );
                // The same word as for a county that nobody visited.
                assert_eq!(properties["status"], "no-figures", "{}", path.display());
                judged += usize::from(WITHHELD.contains(&county));
            }
        }
    }
    // Of both roll-ups, the draft, the alert and the public place; that of the whole store has rows alone.
    assert_eq!((shown, judged), (5, 4 * WITHHELD.len()));
}

#[test]
fn the_page_shows_no_figure_of_a_withheld_county_and_no_total_that_gives_one_away() {
    let published = published();
    let pages = published
        .public
        .iter()
        .filter(|(path, _)| path.ends_with("alert.html"));
    let region = Region::built_in("us:46").expect("South Dakota");
    let mut judged = 0;
    for (_, page) in pages {
        let page = String::from_utf8_lossy(page);
        for county in WITHHELD {
            let name = &region.county(county).expect("a county").name;
            let mentions: Vec<&str> = page
                .match_indices(name.as_str())
                .filter_map(|(place, _)| page[place + name.len()..].split('<').next())
                .collect();
            assert_eq!(mentions.len(), 2, "{name} is on the map and in the list");
            assert!(mentions[0].starts_with(", no figures: not visited, or too few fields"));
            for mention in mentions {
                assert!(
                    !mention.contains(|c: char| c.is_ascii_digit()),
                    "{name}{mention}"
                );
            }
            let row = page
                .split("<tr")
                .find(|row| row.contains(&format!(">{name}</th>")));
            assert_eq!(row, None, "{name} has a row");
        }
        // The sums are those of the county with figures, and of the row elsewhere beside it.
        assert!(
            page.contains("scouts sampled 5 fields at R2–R3; 4 to 5 of them were at or above"),
            "the paragraph counts others too"
        );
        assert!(page.contains("5 of 7 fields at threshold elsewhere in the region"));
        for total in [
            "2 fields",
            "6 fields",
            "9 fields",
            "10 fields",
            "14 fields",
            "18 fields",
        ] {
            let held = page
                .match_indices(total)
                .any(|(place, _)| !page[..place].ends_with(|c: char| c.is_ascii_digit()));
            assert!(!held, "{total}");
        }
        judged += 1;
    }
    assert_eq!(judged, 3, "the draft, the alert and the public place");
}
