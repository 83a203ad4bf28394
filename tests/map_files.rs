//! The map of a page and the map files: every class distinct, true at the edges.

use bractline::alert::page::county_map::{CountyMap, MapTitle, draw_county_map};
use bractline::figures::map::geo::county_week_geojson as write_geojson;
use bractline::figures::map::maplibre_style::maplibre_style;
use bractline::figures::map::qgis_style::qgis_style;
use bractline::figures::map::rows::{Coverage, MapRows};
use bractline::figures::map::rules::Named;
use bractline::shared::classes::Class;
use bractline::shared::count_words::CountWords;
use disclosure::median_class::MedianClass;
use disclosure::public_row::PublicRow;
use disclosure::rule::Level;
use serde_json::{Value, json};

use crate::support::map_files::{WEEK, WEEK_DAYS, county_week_geojson};
use crate::support::week_rows::{county_week_of, elsewhere, other_stage, region, shown, week};

fn named(title: String) -> Named {
    Named {
        title,
        words: CountWords::Threshold,
    }
}

fn geojson(map: &MapRows) -> Vec<u8> {
    write_geojson(map, &|id| named(id.to_owned())).expect("GeoJSON")
}

fn drawn(rows: &[PublicRow]) -> CountyMap {
    let title = MapTitle {
        subject: "Eggs",
        week: "week 30",
        words: CountWords::Threshold,
    };
    draw_county_map(&region(), rows, title)
}

fn legend_of(map: &CountyMap) -> Vec<(&str, &str)> {
    let entries = map.legend.iter();
    entries
        .map(|entry| (&*entry.words, &*entry.counties))
        .collect()
}

/// The same rows as the level `strict` gives them, where each class is one of few fields.
fn strict(rows: Vec<PublicRow>) -> Vec<PublicRow> {
    let class = |class: MedianClass| match class.from {
        _ if class.nothing_found => class,
        from => MedianClass {
            from: if from < 0.5 { 0.0 } else { 0.5 },
            below: (from < 0.5).then_some(0.5),
            nothing_found: false,
        },
    };
    let rows = rows.into_iter().map(|row| PublicRow {
        level: Level::Strict,
        median: row.median.map(class),
        ..row
    });
    rows.collect()
}

/// The highest class before there was one of 3 or more.
const OPEN_OF_AN_EARLIER_VERSION: MedianClass = MedianClass {
    from: 1.5,
    below: None,
    nothing_found: false,
};

// ---- the map of a page ----

#[test]
fn the_map_tells_every_kind_of_county_apart() {
    let map = drawn(&week());
    assert_eq!(
        legend_of(&map),
        [
            ("nothing found", "1 county"),
            ("some found, median under 0.25", "2 counties"),
            ("0.25 to under 0.5", "1 county"),
            ("0.5 to under 1", "2 counties"),
            ("1 to under 1.5: at or above threshold", "2 counties"),
            ("1.5 to under 3: at or above threshold", "1 county"),
            ("3 or more: at or above threshold", "0 counties"),
            ("3 or 4 fields, none at threshold", "1 county"),
            ("3 or 4 fields, 1 or more at threshold", "1 county"),
            ("all fields at another crop stage", "1 county"),
            (
                "no figures: not visited, or too few fields to publish",
                "4 counties"
            ),
        ]
    );
    let svg = map.svg;
    for pattern in ["none-at-threshold", "some-at-threshold", "other-stage"] {
        assert_eq!(
            svg.matches(&format!("fill=\"url(#map-{pattern})\""))
                .count(),
            1
        );
        assert!(svg.contains(&format!("<pattern id=\"map-{pattern}\"")));
    }
    // A county without figures is plain.
    assert_eq!(
        svg.matches("fill=\"#dcdcdc\" stroke=\"#aaa\"><title>")
            .count(),
        4
    );
    assert!(svg.contains(
        "<desc id=\"map-description\">Of 16 counties, 7 have at least one field at threshold. The highest median is \
         1.5 to under 3, in Foxglove. 1 county: nothing found;"
    ));
}

#[test]
fn a_county_says_what_is_known_of_it_and_no_more() {
    let svg = drawn(&week()).svg;
    for says in [
        "1: Alder, none of 9 fields at threshold, median under 0.25",
        "2: Bergamot, 4 of 7 fields at threshold, median 1 to under 1.5",
        // A median a last digit below threshold is not at threshold.
        "7: Goldenrod, 3 of 8 fields at threshold, median 0.5 to under 1",
        "5: Elk Ford, none of 5 fields at threshold, nothing found",
        "11: Kestrel, none of 4 fields at threshold",
        "12: Larkspur, 1 or more of 3 fields at threshold",
        "8: Hazel, all fields at another crop stage",
        "4: Dogwood, no figures: not visited, or too few fields to publish",
        "16: Prairie Clover, no figures: not visited, or too few fields to publish",
    ] {
        assert!(svg.contains(&format!("<title>{says}</title>")), "{says}");
    }
}

#[test]
fn counties_with_a_field_at_threshold_are_outlined_and_on_top() {
    let svg = drawn(&week()).svg;
    let outlined = "stroke=\"#000\" stroke-width=\"3\"><title>";
    let numbers: Vec<&str> = svg
        .split(outlined)
        .skip(1)
        .filter_map(|rest| Some(rest.split_once(':')?.0))
        .collect();
    // Among them 3, 7 and 9, whose medians are below threshold, and 12, which has no class.
    assert_eq!(numbers, ["2", "3", "6", "7", "9", "10", "12"]);
    let first = svg.find(outlined).expect("an outline");
    let quiet = svg
        .rfind("fill=\"#dcdcdc\"")
        .expect("a county without figures");
    assert!(quiet < first, "an outline may be covered");
}

#[test]
fn the_legend_is_that_of_the_level_and_loses_no_county_where_levels_are_mixed() {
    let map = drawn(&strict(week()));
    let words: Vec<&str> = map.legend.iter().map(|entry| &*entry.words).collect();
    assert_eq!(words.len(), 11);
    assert!(
        !words.contains(&"0.25 to under 0.5")
            && words.contains(&"0.5 or more: below or above threshold"),
        "{words:?}"
    );
    assert!(
        map.svg
            .contains("10: Juniper, 6 of 11 fields at threshold, median 0.5 or more")
    );
    // Classes of this level overlap: none is called the highest.
    assert!(!map.svg.contains("The highest"));

    let mut mixed = strict(week());
    mixed[0] = shown(0, 9, 0, 0.3, 0.6);
    let map = drawn(&mixed);
    let counted = |entry: &(&str, &str)| -> usize {
        let number = entry.1.split(' ').next().expect("a number");
        number.parse().expect("a number")
    };
    assert_eq!(legend_of(&map).iter().map(counted).sum::<usize>(), 16);
    assert_eq!(map.legend.len(), 17);

    // Without a row the legend is that of the usual level.
    assert_eq!(
        legend_of(&drawn(&[])).len(),
        legend_of(&drawn(&week())).len()
    );
}

#[test]
fn a_row_of_an_earlier_version_is_shown_as_it_was_published() {
    let mut rows = week();
    rows[4].median = Some(OPEN_OF_AN_EARLIER_VERSION);
    let map = drawn(&rows);
    let says = "6: Foxglove, 9 of 14 fields at threshold, median 1.5 or more</title>";
    assert!(map.svg.contains(says), "{}", map.svg);
    let entry = (
        "1.5 or more (row of an earlier version): at or above threshold",
        "1 county",
    );
    let legend = legend_of(&map);
    assert!(legend.contains(&entry), "{legend:?}");
    assert!(legend.contains(&("1.5 to under 3: at or above threshold", "0 counties")));
}

#[test]
fn every_county_is_written_on_the_map_by_number_and_where_there_is_room_by_name() {
    let svg = drawn(&week()).svg;
    let (numbers, names) = svg.split_once("<g class=\"names\"").expect("names");
    for number in 1..=16 {
        let written = format!(">{number}</text>");
        assert_eq!(numbers.matches(&written).count(), 1, "{number}");
    }
    for says in [
        ">Bergamot</text>",
        ">4 of 7</text>",
        ">0 of 9</text>",
        ">1+ of 3</text>",
        ">Prairie Clover</text>",
    ] {
        assert!(names.contains(says), "{says}: {names}");
    }
}

#[test]
fn a_row_of_no_county_is_not_on_the_map() {
    let mut rows = week();
    let without = drawn(&rows);
    rows.push(elsewhere(shown(0, 9, 9, 2.0, 3.0)));
    assert_eq!(drawn(&rows), without);
}

#[test]
fn several_weeks_hold_the_counties_with_a_row_in_order() {
    let mut rows = vec![shown(2, 5, 1, 0.5, 1.0), shown(0, 5, 1, 0.5, 1.0)];
    rows.push(PublicRow {
        iso_week: "2026-W29".to_owned(),
        ..shown(2, 4, 0, 0.5, 0.9)
    });
    let bytes = county_week_geojson(&region(), &rows, Coverage::VisitedCounties).expect("GeoJSON");
    let collection: Value = serde_json::from_slice(&bytes).expect("JSON");
    let features = collection["features"].as_array().expect("features");
    let ids: Vec<_> = features.iter().map(|feature| &feature["id"]).collect();
    assert_eq!(
        ids,
        [
            "003.2026-W29.bsm-eggs",
            "001.2026-W30.bsm-eggs",
            "003.2026-W30.bsm-eggs"
        ]
    );

    let empty = county_week_geojson(&region(), &[], Coverage::VisitedCounties).expect("GeoJSON");
    let empty: Value = serde_json::from_slice(&empty).expect("JSON");
    assert_eq!((&empty["features"], empty.get("bbox")), (&json!([]), None));
}

#[test]
fn a_file_of_a_week_refuses_what_does_not_belong_in_it() {
    let region = region();
    let refused = |table_rows: &[PublicRow], twice: bool, rows: &[PublicRow], iso_week| {
        let mut table = county_week_of(&region, table_rows);
        if twice {
            let both = [table.clone(), table.clone()];
            table = arrow::compute::concat_batches(&table.schema(), &both).expect("one table");
        }
        let coverage = Coverage::WholeWeek {
            iso_week,
            days: WEEK_DAYS,
            protocols: &["bsm-eggs"],
        };
        let failure = MapRows::gather(&region, &table, rows, coverage).expect_err("refused");
        failure.to_string()
    };
    let one = [shown(0, 5, 1, 0.5, 1.0)];
    let stranger = [shown(998, 5, 1, 0.5, 1.0)];
    for (says, failure) in [
        ("another week", refused(&one, false, &one, "2026-W31")),
        ("two rows", refused(&one, true, &one, "2026-W30")),
        (
            "not in the region",
            refused(&stranger, false, &stranger, "2026-W30"),
        ),
        // A figure that is in no public row, and a county that would be said to have none.
        ("is no public row", refused(&one, false, &[], "2026-W30")),
        ("lacks a public row", refused(&[], false, &one, "2026-W30")),
    ] {
        assert!(failure.contains(says), "{failure}");
    }
}

/// What viewers without a style read: each row in the color and the words of its class, of both levels.
#[test]
fn every_feature_has_the_color_and_the_words_of_its_class() {
    for rows in [week(), strict(week())] {
        let region = region();
        let bytes = county_week_geojson(&region, &rows, WEEK).expect("GeoJSON");
        let collection: Value = serde_json::from_slice(&bytes).expect("JSON");
        let features = collection["features"].as_array().expect("features");
        let mut fills = std::collections::BTreeSet::new();
        for feature in features {
            let properties = &feature["properties"];
            let id = properties["county_id"].as_str().expect("an id");
            let of_county = |row: &&PublicRow| row.place.county() == Some(id);
            let row = rows.iter().find(of_county);
            let class = Class::of(row);
            let words = class.words(CountWords::Threshold);
            assert_eq!(properties["class"], words, "{id}");
            assert_eq!(properties["title"], properties["county_name"], "{id}");
            let fill = properties["fill"].as_str().expect("a color");
            let known = class.band().map(|band| band.fill);
            assert!(known.is_none_or(|known| known == fill), "{id}: {fill}");
            assert!(fill.len() == 7 && fill.starts_with('#'), "{fill}");
            fills.insert(fill.to_owned());
            let said = properties["description"].as_str().expect("words");
            assert!(said.starts_with("Counts of bsm-eggs, 2026-W30: "), "{said}");
            assert!(said.contains(&words), "{said}");
            let width = properties["stroke-width"].as_f64();
            let at_threshold = row.is_some_and(|row| row.at_threshold[0] > 0);
            assert_eq!(width > Some(2.0), at_threshold, "{id}");
            assert_eq!(properties["fill-opacity"], 0.8);
        }
        assert!(fills.len() >= 4, "{fills:?}");
    }
}

// ---- the styles ----

/// A filter of the MapLibre style, for a feature: the few operators that our styles use.
fn fits(filter: &Value, properties: &Value) -> bool {
    let part = filter.as_array().expect("an operator and its operands");
    let value = |operand: &Value| match operand.as_array() {
        Some(get) if get[0] == "get" => properties[get[1].as_str().expect("a name")].clone(),
        Some(kind) if kind[0] == "typeof" => {
            let of = properties[kind[1][1].as_str().expect("a name")].clone();
            json!(if of.is_number() { "number" } else { "other" })
        }
        _ => operand.clone(),
    };
    match part[0].as_str().expect("an operator") {
        "all" => part[1..].iter().all(|part| fits(part, properties)),
        "==" => value(&part[1]) == value(&part[2]),
        ">" => value(&part[1]).as_f64() > value(&part[2]).as_f64(),
        other => panic!("our styles have no {other}"),
    }
}

/// In a file of another level, and of both, and with another protocol that must not be drawn over the first.
#[test]
fn a_maplibre_style_draws_each_county_of_its_protocol_in_one_class() {
    let mut mixed = strict(week());
    mixed[0] = shown(0, 9, 0, 0.3, 0.6);
    let mut earlier = week();
    earlier[4].median = Some(OPEN_OF_AN_EARLIER_VERSION);
    let traps = PublicRow {
        protocol: "traps".to_owned(),
        ..other_stage(1, 4)
    };
    for (mut rows, classes) in [
        (week(), 11),
        (strict(week()), 11),
        (earlier, 12),
        (mixed, 17),
    ] {
        rows.push(PublicRow {
            level: rows[1].level,
            ..traps.clone()
        });
        let region = region();
        let table = county_week_of(&region, &rows);
        let map = MapRows::gather(&region, &table, &rows, WEEK).expect("rows");
        let style = maplibre_style(
            &map,
            "county_week.geojson",
            Some("2026-W30"),
            Some("bsm-eggs"),
            &|id| named(format!("Eggs ({id})")),
        );
        let style: Value = serde_json::from_slice(&style.expect("a style")).expect("JSON");
        let name = style["name"].as_str().expect("a name");
        assert!(name.starts_with("Eggs (bsm-eggs): "), "{name}");
        let layers = style["layers"].as_array().expect("layers");
        let fills = layers.iter().filter(|layer| layer["type"] == "fill");
        assert_eq!(fills.clone().count(), classes);
        let outline = layers.iter().find(|layer| layer["id"] == "at-threshold");
        let outline = &outline.expect("the outline")["filter"];
        let features: Value = serde_json::from_slice(&geojson(&map)).expect("JSON");
        let features = features["features"].as_array().expect("features");
        assert_eq!(features.len(), 32);
        for feature in features {
            let properties = &feature["properties"];
            let id = &feature["id"];
            let fitting = fills
                .clone()
                .filter(|layer| fits(&layer["filter"], properties));
            let is_drawn = properties["protocol"] == "bsm-eggs";
            assert_eq!(fitting.count(), usize::from(is_drawn), "{id}");
            let at_threshold = properties["at_threshold_min"].as_i64() > Some(0);
            assert_eq!(fits(outline, properties), is_drawn && at_threshold, "{id}");
        }
    }
}

#[test]
fn the_qgis_style_names_each_protocol_and_switches_on_the_first_alone() {
    let region = region();
    let rows = week();
    let table = county_week_of(&region, &rows);
    let coverage = Coverage::WholeWeek {
        iso_week: "2026-W30",
        days: WEEK_DAYS,
        protocols: &["bsm-eggs", "traps"],
    };
    let map = MapRows::gather(&region, &table, &rows, coverage).expect("rows");
    let style = qgis_style(&map, &|id| Named {
        title: format!("Title of {id}"),
        words: match id {
            "traps" => CountWords::Risk,
            _ => CountWords::Threshold,
        },
    });
    let groups: Vec<&str> = style
        .lines()
        .filter(|line| line.contains("<rule key=\"protocol-"))
        .collect();
    assert_eq!(groups.len(), 2);
    for (group, (id, on)) in groups.iter().zip([("bsm-eggs", 1), ("traps", 0)]) {
        assert!(group.contains(&format!("checkstate=\"{on}\"")), "{group}");
        assert!(
            group.contains(&format!("label=\"Title of {id}\"")),
            "{group}"
        );
        assert!(group.contains(&format!("= &#39;{id}&#39;")), "{group}");
    }
    // The second group is of a survey: its words say so, and speak of no threshold.
    let second = style.find("<rule key=\"protocol-1\"").expect("a group");
    let (first, second) = style.split_at(second);
    let second = second.split("<symbols>").next().expect("its rules");
    assert!(first.contains("at least one field at threshold"), "{first}");
    assert!(
        second.contains("at least one survey site at the risk level"),
        "{second}"
    );
    let labels = second.lines().filter_map(|line| {
        let label = line.split("label=\"").nth(1)?;
        label.split('"').next()
    });
    for label in labels {
        assert!(
            !label.contains("threshold") && !label.contains("field"),
            "{label}"
        );
    }
}
