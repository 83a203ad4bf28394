//! No public table holds a mark of a field, or a row of a withheld county.

use std::collections::BTreeSet;
use std::path::Path;

use arrow::util::display::array_value_to_string;
use scouting::region::Region;
use stats::sampling::share_interval::wilson;

use super::{
    FEW_FARMS, FEW_FIELDS, FEW_OUTSIDE, ONE_FARM_OUTSIDE, SHOWN, WEEK, WITHHELD, cut, published,
    rows_of, tables,
};
use crate::support::privacy::{read_parquet, readable};
use crate::support::{IDENTITY, Row};

/// The fields of the second and third taken together: seven fields of four farms.
const POOL: &str = "elsewhere in the region";

/// Whether a file names counties by their id: tables and maps of counties do.
fn has_counties(path: &Path) -> bool {
    let name = path.file_name().and_then(|name| name.to_str());
    name.is_some_and(|name| {
        name.starts_with("county_week") && !name.ends_with(".qml") && !name.ends_with(".style.json")
    })
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
        let of_map = [
            "status",
            "start",
            "end",
            "week_start",
            "week_end",
            "geometry",
            "bbox",
        ];
        let columns = row.keys().filter(|name| !of_map.contains(&name.as_str()));
        assert_eq!(columns.count(), 27, "{row:?}");
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
        assert_eq!(
            empty,
            [
                "mean_pressure",
                "median_below",
                "share_own_weight",
                "share_smoothed"
            ]
        );
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
            "map.html",
            "alert.pdf",
            "county_week.geojson",
            "county_week.geo.parquet",
            "email.html",
            "map.svg",
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
    // All but six files of maps, and six pages and texts of an alert in three places.
    assert_eq!(judged, published.public.len() - 7 - 18);
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
        ("week_start", elsewhere[0]["week_start"].clone()),
        ("week_end", elsewhere[0]["week_end"].clone()),
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
    assert_eq!(class.len(), 9);
    // The stages of a row add up to its fields: five of R2 are of two farms, and join the two of R3.
    let stages = rows("region_stage");
    let said = stages.iter().map(|row| {
        assert_eq!(row.len(), 8, "{row:?}");
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
