//! No map, sample point or page shows a figure of a withheld county.

use scouting::region::Region;
use serde_json::Value;

use super::{SHOWN, WITHHELD, published, tables};
use crate::support::{IDENTITY, LOOK};

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
            "cell",
            "cell_lat",
            "cell_lon",
            "grid_km",
            "iso_week",
            "protocol",
            "season",
            "week_end",
            "week_start",
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
                .filter(|(name, _)| ![&IDENTITY[..], &LOOK].concat().contains(&name.as_str()));
            let figures: Vec<_> = figures.collect();
            assert_eq!(figures.len(), 21, "{properties:?}");
            if county == SHOWN {
                let empty = figures.iter().filter(|(_, value)| value.is_null());
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
