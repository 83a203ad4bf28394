//! The published files: read by others, true at the edges, and inert whatever a name holds.

use std::sync::Arc;

use arrow::array::{
    ArrayRef, BooleanArray, Date32Array, Float64Array, Int32Array, Int64Array, RecordBatch,
    StringArray,
};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use bractline::failure::Failure;
use bractline::publish::alert_page::{Bulletin, ProtocolFacts, alert_html};
use bractline::publish::county_map::{CountyMap, MapTitle, draw_county_map};
use bractline::publish::files::write_file;
use bractline::publish::geo::county_week_geojson as write_geojson;
use bractline::publish::map_rows::{Coverage, MapRows};
use bractline::publish::tables::{ColumnDoc, write_csv, write_parquet};
use bractline::region::Region;
use bractline::rollup::county_week::CountyWeek;
use bractline::rollup::season_so_far::SeasonSoFar;
use jiff::civil::Date;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

const NAMES: [&str; 16] = [
    "Alder",
    "Bergamot",
    "Cinder Hill",
    "Dogwood",
    "Elk Ford",
    "Foxglove",
    "Goldenrod",
    "Hazel",
    "Indigo",
    "Juniper",
    "Kestrel",
    "Larkspur",
    "Milkweed",
    "Nettle",
    "Oxbow",
    "Prairie Clover",
];

const NOTICE: &str = "Invented data of an invented region, made to show the page. No real field, \
                      county or person is in it.";

/// A made-up region of sixteen counties with crooked borders, a hole in one and an island.
fn region() -> Region {
    region_named(&NAMES)
}

fn region_named(names: &[&str]) -> Region {
    let features = (0..16).map(|place| feature(place, names[place])).collect();
    region_of(features)
}

fn region_of(features: Vec<Value>) -> Region {
    let text = json!({
        "type": "FeatureCollection",
        "title": "the Sixteen Counties",
        "vintage": "2026",
        "source": "made up for the tests",
        "invented": NOTICE,
        "features": features,
    });
    Region::from_text(&text.to_string(), "the test", "id", "name").expect("a good region")
}

fn feature(place: usize, name: &str) -> Value {
    let (column, row) = (place % 4, place / 4);
    let mut outside = Vec::new();
    let corners = [(0, 0), (1, 0), (1, 1), (0, 1), (0, 0)];
    for pair in corners.windows(2) {
        for step in 0..6 {
            let along = step as f64 / 6.0;
            let between = |from: usize, to: usize| from as f64 + along * (to as f64 - from as f64);
            let x = column as f64 + between(pair[0].0, pair[1].0);
            let y = row as f64 + between(pair[0].1, pair[1].1);
            outside.push(crooked(x, y));
        }
    }
    outside.push(outside[0]);
    let mut polygons = vec![vec![outside]];
    if place == 5 {
        let hole = [(1.4, 1.4), (1.4, 1.6), (1.6, 1.6), (1.6, 1.4), (1.4, 1.4)];
        polygons[0].push(hole.map(|(x, y)| crooked(x, y)).to_vec());
    }
    if place == 15 {
        let island = [(4.3, 3.7), (4.5, 3.7), (4.4, 3.9), (4.3, 3.7)];
        polygons.push(vec![island.map(|(x, y)| crooked(x, y)).to_vec()]);
        // Smaller than the grid of the file: it must not come out as an empty ring.
        let speck = [
            [-99.2, 45.2],
            [-99.199_999, 45.2],
            [-99.2, 45.200_001],
            [-99.2, 45.2],
        ];
        polygons.push(vec![speck.to_vec()]);
    }
    json!({
        "type": "Feature",
        "properties": {"id": format!("{:03}", place + 1), "name": name},
        "geometry": {"type": "MultiPolygon", "coordinates": polygons},
    })
}

/// The same bend for the same corner, so that neighbours share their borders.
fn crooked(x: f64, y: f64) -> [f64; 2] {
    let bend = 0.09 * ((3.1 * y + 1.7 * x).sin() + 0.5 * (7.3 * x - 2.9 * y).cos());
    let lean = 0.07 * ((2.3 * x + 0.9 * y).cos() + 0.6 * (5.9 * y).sin());
    [
        -103.123_456_789 + 0.9 * (x + bend),
        43.1 + 0.55 * (y + lean),
    ]
}

fn row(place: usize) -> CountyWeek {
    CountyWeek {
        county_id: format!("{:03}", place + 1),
        county_name: NAMES[place].to_owned(),
        season: 2026,
        iso_week: "2026-W30".to_owned(),
        protocol: "bsm-eggs".to_owned(),
        fields_visited: Some(0),
        fields_at_threshold: None,
        fields_near_threshold: Some(0),
        share_at_threshold: None,
        share_low: None,
        share_high: None,
        share_smoothed: None,
        mean_pressure: None,
        median_pressure: None,
        p90_pressure: None,
        max_pressure: None,
        area_share_at_threshold: None,
        fields_outside_stage: Some(0),
        fields_with_assumed_economics: Some(0),
        window_opens: None,
        window_closes: None,
        window_basis: None,
        suppressed: false,
    }
}

/// A row with figures; the interval is Wilson's, so that the page reads as it will.
fn shown(place: usize, visited: i64, at_threshold: i64, median: f64, greatest: f64) -> CountyWeek {
    let share = at_threshold as f64 / visited as f64;
    let (low, high) = wilson(share, visited as f64);
    CountyWeek {
        fields_visited: Some(visited),
        fields_at_threshold: Some(at_threshold),
        share_at_threshold: Some(share),
        share_low: Some(low),
        share_high: Some(high),
        mean_pressure: Some((median + greatest) / 2.0),
        median_pressure: Some(median),
        p90_pressure: Some(greatest),
        max_pressure: Some(greatest),
        area_share_at_threshold: Some(share),
        ..row(place)
    }
}

fn wilson(share: f64, count: f64) -> (f64, f64) {
    let z: f64 = 1.959_963_984_540_054;
    let middle = (share + z * z / (2.0 * count)) / (1.0 + z * z / count);
    let half = z / (1.0 + z * z / count)
        * (share * (1.0 - share) / count + z * z / (4.0 * count * count)).sqrt();
    ((middle - half).max(0.0), (middle + half).min(1.0))
}

fn suppressed(place: usize) -> CountyWeek {
    CountyWeek {
        fields_visited: None,
        fields_outside_stage: None,
        fields_with_assumed_economics: None,
        fields_near_threshold: None,
        suppressed: true,
        ..row(place)
    }
}

fn outside_stage(place: usize, fields: i64) -> CountyWeek {
    CountyWeek {
        fields_outside_stage: Some(fields),
        fields_with_assumed_economics: Some(0),
        ..row(place)
    }
}

/// A week with a county of every kind and class.
fn week() -> Vec<CountyWeek> {
    vec![
        shown(0, 9, 0, 0.12, 0.61),
        shown(1, 7, 4, 1.317, 2.44),
        shown(2, 12, 2, 0.55, 1.2),
        suppressed(3),
        shown(4, 5, 0, 0.0, 0.0),
        shown(5, 14, 9, 1.62, 3.9),
        shown(6, 8, 3, 0.999_999_9, 1.8),
        outside_stage(7, 4),
        shown(8, 6, 1, 0.3, 1.0),
        shown(9, 11, 6, 1.0, 2.0),
        shown(10, 4, 0, 0.25, 0.4),
        suppressed(11),
        shown(12, 3, 0, 0.0, 0.2),
    ]
}

/// The rows as the roll-up hands them out.
fn table_of(rows: &[CountyWeek]) -> RecordBatch {
    type Float = (&'static str, fn(&CountyWeek) -> Option<f64>);
    type Count = (&'static str, fn(&CountyWeek) -> Option<i64>);
    let text = |of: fn(&CountyWeek) -> &String| -> ArrayRef {
        Arc::new(
            rows.iter()
                .map(|row| Some(of(row)))
                .collect::<StringArray>(),
        )
    };
    type Day = (&'static str, fn(&CountyWeek) -> Option<Date>);
    let counts: [Count; 5] = [
        ("fields_near_threshold", |row| row.fields_near_threshold),
        ("fields_visited", |row| row.fields_visited),
        ("fields_at_threshold", |row| row.fields_at_threshold),
        ("fields_outside_stage", |row| row.fields_outside_stage),
        ("fields_with_assumed_economics", |row| {
            row.fields_with_assumed_economics
        }),
    ];
    let days: [Day; 2] = [
        ("window_opens", |row| row.window_opens),
        ("window_closes", |row| row.window_closes),
    ];
    let floats: [Float; 9] = [
        ("share_smoothed", |row| row.share_smoothed),
        ("share_at_threshold", |row| row.share_at_threshold),
        ("share_low", |row| row.share_low),
        ("share_high", |row| row.share_high),
        ("mean_pressure", |row| row.mean_pressure),
        ("median_pressure", |row| row.median_pressure),
        ("p90_pressure", |row| row.p90_pressure),
        ("max_pressure", |row| row.max_pressure),
        ("area_share_at_threshold", |row| row.area_share_at_threshold),
    ];
    let season = rows.iter().map(|row| row.season).collect::<Vec<_>>();
    let suppressed = rows.iter().map(|row| row.suppressed).collect::<Vec<_>>();
    let mut columns: Vec<(&str, ArrayRef)> = vec![
        ("county_id", text(|row| &row.county_id)),
        ("county_name", text(|row| &row.county_name)),
        ("season", Arc::new(Int32Array::from(season))),
        ("iso_week", text(|row| &row.iso_week)),
        ("protocol", text(|row| &row.protocol)),
    ];
    columns.extend(counts.map(|(name, of)| {
        let values = rows.iter().map(of).collect::<Int64Array>();
        (name, Arc::new(values) as ArrayRef)
    }));
    columns.extend(floats.map(|(name, of)| {
        let values = rows.iter().map(of).collect::<Float64Array>();
        (name, Arc::new(values) as ArrayRef)
    }));
    columns.extend(days.map(|(name, of)| {
        let since_epoch = |day: Date| (day - Date::constant(1970, 1, 1)).get_days();
        let values = rows.iter().map(|row| of(row).map(since_epoch));
        (name, Arc::new(values.collect::<Date32Array>()) as ArrayRef)
    }));
    let bases = rows.iter().map(|row| row.window_basis.as_deref());
    columns.push(("window_basis", Arc::new(bases.collect::<StringArray>())));
    columns.push(("suppressed", Arc::new(BooleanArray::from(suppressed))));
    RecordBatch::try_from_iter(columns).expect("columns of one length")
}

fn county_week_geojson(
    region: &Region,
    rows: &[CountyWeek],
    coverage: Coverage,
) -> Result<Vec<u8>, Failure> {
    write_geojson(&MapRows::gather(region, &table_of(rows), coverage)?)
}

fn protocol() -> ProtocolFacts {
    ProtocolFacts {
        id: "bsm-eggs".to_owned(),
        title: "Banded sunflower moth, eggs on bracts".to_owned(),
        crop: "sunflower".to_owned(),
        counted: "eggs per six bracts".to_owned(),
        threshold_name: "economic injury level".to_owned(),
        stage_window: "R2–R3".to_owned(),
        treatment_stage: Some("R5.1".to_owned()),
        treatment: Some(
            "Treatment is timed to R5.1, not to the day when eggs are found.".to_owned(),
        ),
        hatch: Some("Eggs hatch in five to eight days.".to_owned()),
        worked: None,
        source: "J. Econ. Entomol. 101(3):969–975 (2008)".to_owned(),
        cautions: vec!["The six-bract count replaces no look at the larvae.".to_owned()],
    }
}

static NO_SEASON: SeasonSoFar = SeasonSoFar {
    weeks: Vec::new(),
    earlier: Vec::new(),
    pressure: Vec::new(),
    stages: Vec::new(),
};

fn bulletin<'a>(
    region: &'a Region,
    rows: &'a [CountyWeek],
    previous: Option<&'a [CountyWeek]>,
    protocol: &'a ProtocolFacts,
) -> Bulletin<'a> {
    Bulletin {
        iso_week: "2026-W30",
        region,
        rows,
        previous,
        so_far: &NO_SEASON,
        protocol,
        contact: "",
        season_now: Some("Mean pressure of the counties shown is 0.62 & level."),
        still_to_come: "How much is still to come cannot be told.",
        generated_at: "on 27 July 2026 at 06:00 UTC",
        program_version: "bractline 0.1.0",
        store_version: 7,
        note: None,
        issue: None,
    }
}

fn page(rows: &[CountyWeek]) -> String {
    page_with(rows, None)
}

fn page_with(rows: &[CountyWeek], previous: Option<&[CountyWeek]>) -> String {
    alert_html(&bulletin(&region(), rows, previous, &protocol())).expect("a page")
}

fn between<'a>(page: &'a str, start: &str, end: &str) -> &'a str {
    let (_, rest) = page
        .split_once(start)
        .unwrap_or_else(|| panic!("no {start}"));
    rest.split_once(end)
        .unwrap_or_else(|| panic!("no {end} after {start}"))
        .0
}

fn headline(rows: &[CountyWeek]) -> String {
    between(&page(rows), "<h1>", "</h1>").to_owned()
}

fn paragraph(rows: &[CountyWeek]) -> String {
    paragraph_with(rows, None)
}

fn paragraph_with(rows: &[CountyWeek], previous: Option<&[CountyWeek]>) -> String {
    let page = page_with(rows, previous);
    between(&page, "<p class=\"lead\">", "</p>")
        .replace('\u{a0}', " ")
        .replace("&#39;", "'")
}

// ---- the words ----

#[test]
fn the_headline_says_how_many_counties_and_no_more_than_is_known() {
    let found = |place| shown(place, 5, 0, 0.1, 0.2);
    let none = |place| shown(place, 5, 0, 0.0, 0.0);
    let at = |place| shown(place, 5, 2, 0.9, 1.2);
    for (rows, says) in [
        (vec![], "No field visits were reported this week"),
        (
            vec![suppressed(0)],
            "Too few fields in any one county to show figures",
        ),
        (
            vec![outside_stage(0, 3)],
            "Every field visited was outside the stages in which this count has a meaning",
        ),
        (
            vec![outside_stage(0, 3), suppressed(1)],
            "No county has enough fields at the right stage to show figures",
        ),
        (
            vec![none(1)],
            "Nothing found in Bergamot, the only county with enough fields",
        ),
        (
            vec![none(0), none(1)],
            "Nothing found in either of the 2 counties with enough fields",
        ),
        (
            vec![none(0), none(1), none(2), suppressed(3)],
            "Nothing found in any of the 3 counties with enough fields",
        ),
        (
            vec![found(1)],
            "No field at threshold in Bergamot, the only county with enough fields",
        ),
        (
            vec![found(0), none(1)],
            "No field at threshold in the 2 counties with enough fields",
        ),
        (
            vec![at(1)],
            "Fields at threshold in Bergamot, the only county with enough fields",
        ),
        (
            vec![shown(1, 5, 1, 0.9, 1.2)],
            "One field at threshold in Bergamot, the only county with enough fields",
        ),
        (
            vec![at(0), at(1)],
            "Fields at threshold in both counties with enough fields",
        ),
        (
            vec![at(0), at(1), at(2)],
            "Fields at threshold in all 3 counties with enough fields",
        ),
        (
            vec![at(0), found(1), none(2), suppressed(3), outside_stage(4, 2)],
            "Fields at threshold in 1 of the 3 counties with enough fields",
        ),
    ] {
        assert_eq!(headline(&rows), says);
    }
}

#[test]
fn the_paragraph_of_a_full_week_reads_as_one_would_say_it() {
    let before = vec![
        shown(0, 5, 0, 0.1, 0.2),
        shown(1, 6, 1, 0.7, 1.1),
        shown(5, 6, 3, 1.1, 1.9),
        suppressed(2),
        // Not shown this week, so it must not count.
        shown(3, 9, 9, 2.0, 3.0),
    ];
    assert_eq!(
        paragraph_with(&week(), Some(&before)),
        "In the 10 counties with enough fields to show, scouts visited 79 fields in the stage \
         window (R2–R3); 25 of them were at or above their own economic injury level. Pressure \
         was highest in Foxglove, with a median of 1.62: 9 of 14 fields at threshold, a share of \
         64 % with a 95 % interval of 39 to 84 %. Of the 3 counties with figures in both this week \
         and the week before, 2 had fields at threshold then and 2 have now. 2 counties had too \
         few fields to show, 1 county had only fields outside the stage window and 3 counties had \
         no visits; about pressure in those counties this page says nothing."
    );
}

#[test]
fn the_paragraph_claims_less_where_fields_are_few() {
    let says = paragraph(&[shown(1, 3, 2, 1.2, 1.4)]);
    assert!(
        says.contains("In Bergamot, the only county with enough fields to show"),
        "{says}"
    );
    assert!(
        says.contains("3 fields") && says.contains("2 of them were"),
        "{says}"
    );
    assert!(
        says.contains("That rests on 3 fields only, and the interval is wide"),
        "{says}"
    );
    assert!(says.contains("a reason to scout, not a measure"), "{says}");
    assert!(says.contains("15 counties had no visits"), "{says}");

    let many = paragraph(&[shown(1, 60, 30, 1.2, 1.4)]);
    assert!(
        !many.contains("rests on") && !many.contains("wide"),
        "{many}"
    );
}

#[test]
fn nothing_found_is_not_said_to_prove_that_there_is_nothing() {
    let says = paragraph(&[shown(0, 9, 0, 0.0, 0.0), shown(1, 3, 0, 0.0, 0.0)]);
    assert!(
        says.contains("none of them was at or above its own economic injury level"),
        "{says}"
    );
    assert!(
        says.contains(
            "does not prove that there is nothing: with 3 fields visited in Bergamot, the 95 % \
             interval of the share at threshold still reaches 56 %"
        ),
        "{says}"
    );
    assert!(!says.contains("highest"), "{says}");
}

#[test]
fn singular_and_plural_agree() {
    let one = paragraph(&[shown(1, 1, 1, 1.5, 1.5)]);
    assert!(one.contains("visited 1 field in"), "{one}");
    assert!(one.contains("it was at or above its own"), "{one}");
    let below = paragraph(&[shown(1, 1, 0, 0.5, 0.5)]);
    assert!(below.contains("it was below its own"), "{below}");
    let both = paragraph(&[shown(1, 2, 2, 1.5, 1.5)]);
    assert!(both.contains("both were at or above their own"), "{both}");
    let all = paragraph(&[shown(1, 4, 4, 1.5, 1.5)]);
    assert!(
        all.contains("all of them were at or above their own"),
        "{all}"
    );
    let single = paragraph(&[shown(0, 4, 1, 0.5, 1.5), suppressed(1), outside_stage(2, 1)]);
    assert!(
        single.contains("1 of them was at or above its own"),
        "{single}"
    );
    assert!(single.contains("1 county had too few fields"), "{single}");
    let mut everywhere: Vec<_> = (0..15).map(|place| shown(place, 4, 1, 0.5, 1.5)).collect();
    everywhere.push(suppressed(15));
    let last = paragraph(&everywhere);
    assert!(
        last.ends_with("1 county had too few fields to show; about pressure in that county this page says nothing."),
        "{last}"
    );
    everywhere[15] = shown(15, 4, 0, 0.5, 0.6);
    assert!(!paragraph(&everywhere).contains("says nothing"));
}

#[test]
fn a_week_without_figures_makes_no_claim() {
    assert!(paragraph(&[]).starts_with("No visit under this protocol was reported"));
    let says = paragraph(&[suppressed(0), outside_stage(1, 3)]);
    assert!(
        says.starts_with("This week's visits give no figure that can be shown."),
        "{says}"
    );
    for rows in [vec![], vec![suppressed(0), outside_stage(1, 3)]] {
        assert!(!page(&rows).contains("class=\"facts\""));
    }
}

#[test]
fn weeks_are_compared_only_over_counties_shown_in_both() {
    let now = [shown(0, 5, 2, 1.0, 1.2), shown(1, 5, 0, 0.1, 0.2)];
    let none = paragraph_with(&now, Some(&[suppressed(0), shown(2, 5, 5, 2.0, 2.0)]));
    assert!(!none.contains("week before"), "{none}");
    let one = paragraph_with(&now, Some(&[suppressed(0), shown(1, 6, 1, 0.3, 1.2)]));
    assert!(
        one.contains(
            "Only Bergamot has figures in both this week and the week before: 0 of 5 fields at \
             threshold now, 1 of 6 fields at threshold then."
        ),
        "{one}"
    );
    let before = [shown(0, 4, 0, 0.1, 0.2), shown(1, 6, 0, 0.3, 0.4)];
    let two = paragraph_with(&now, Some(&before));
    assert!(
        two.contains("none had fields at threshold then and 1 has now."),
        "{two}"
    );
}

#[test]
fn a_median_just_below_threshold_is_neither_shown_nor_drawn_as_at_threshold() {
    let page = page(&[
        shown(6, 8, 3, 0.999_999_999_9, 1.8),
        shown(7, 8, 4, 1.0, 1.8),
    ]);
    assert!(page.contains("Goldenrod, median pressure &#60;1.00"));
    assert!(page.contains("Of 16 counties, 1 has a median at or above threshold."));
    assert!(page.contains("0.75 to under 1 <em>(1 county)"));
    assert!(page.contains("1 to under 1.5: at or above threshold <em>(1 county)"));
    assert!(page.contains("Hazel: median pressure 1.00"));
}

// ---- the page ----

#[test]
fn a_suppressed_county_shows_no_number_and_enters_no_total() {
    let with = page(&[shown(0, 5, 2, 0.9, 1.2), suppressed(3)]);
    let cell = between(&with, "Dogwood</th>", "</tr>");
    assert_eq!(
        cell.trim(),
        "<td class=\"words\" colspan=\"7\">too few fields</td>"
    );
    let visited = between(&with, "<p class=\"lead\">", "</p>");
    assert!(visited.contains("visited 5 fields"), "{visited}");
}

#[test]
fn the_page_loads_nothing_runs_one_script_of_its_own_and_carries_its_cautions() {
    let page = page(&week());
    // One script, which sorts the table, and one style; the policy lets in these two, by their hashes, and
    // nothing else.
    assert_eq!(page.matches("<script").count(), 1);
    for (kind, start, end) in [
        ("script", "<script>", "</script>"),
        ("style", "<style>", "</style>"),
    ] {
        let text = between(&page, start, end);
        let hash = STANDARD.encode(Sha256::digest(text.as_bytes()));
        assert!(
            page.contains(&format!("{kind}-src 'sha256-{hash}'")),
            "{kind}"
        );
    }
    for absent in [
        "javascript:",
        " onload",
        " onclick",
        "<link",
        "<iframe",
        "<img",
        "@import",
    ] {
        assert!(!page.contains(absent), "{absent}");
    }
    let addresses = page.matches("://").count();
    let namespace = page.matches("xmlns=\"http://www.w3.org/2000/svg\"").count();
    assert_eq!(
        addresses, namespace,
        "an address other than the name of SVG"
    );
    assert!(page.contains("default-src 'none'; ") && !page.contains("unsafe-inline"));
    for caution in [
        "The label is the law",
        "Scout your own field",
        "Treatment at R5.1 falls at bloom",
        "Re-entry and harvest intervals",
        "Local rules and licensed advice come first",
        "These figures may change",
        "The six-bract count replaces no look",
        NOTICE,
        "store version 7",
        "made up for the tests",
    ] {
        assert!(page.contains(caution), "{caution}");
    }
    assert!(page.len() < 150_000, "{} bytes", page.len());
}

#[test]
fn rows_of_another_week_protocol_or_region_are_refused() {
    let other = |change: fn(&mut CountyWeek)| {
        let mut row = shown(0, 5, 2, 0.9, 1.2);
        change(&mut row);
        vec![row]
    };
    for (rows, says) in [
        (
            other(|row| row.iso_week = "2026-W29".to_owned()),
            "another week",
        ),
        (
            other(|row| row.protocol = "traps".to_owned()),
            "another protocol",
        ),
        (
            other(|row| row.county_id = "999".to_owned()),
            "not in the region",
        ),
        (vec![suppressed(0), suppressed(0)], "comes twice"),
    ] {
        let failure = alert_html(&bulletin(&region(), &rows, None, &protocol()));
        let failure = failure.expect_err(says).to_string();
        assert!(failure.contains(says), "{failure}");
    }
}

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
    let told = crate::support::python(
        "tests/reference/check_map_files.py",
        &["same-elements", text(&path), text(&plain_path)],
    );
    assert_eq!(told.trim(), "the same elements and attributes");
    for unseen in ['\0', '\u{7}', '\u{202e}', '\u{2066}', '\u{200f}'] {
        assert!(!page.contains(unseen), "{unseen:?}");
    }
}

fn text(path: &std::path::Path) -> &str {
    path.to_str().expect("a UTF-8 path")
}

#[test]
fn the_map_tells_every_kind_of_county_apart() {
    let CountyMap { svg, legend } = draw_county_map(
        &region(),
        &week(),
        MapTitle {
            subject: "Eggs",
            week: "week 30",
        },
    );
    let counts: Vec<_> = legend
        .iter()
        .map(|entry| (entry.words, &*entry.counties))
        .collect();
    assert_eq!(
        counts,
        [
            ("nothing found", "1 county"),
            ("some found, median under 0.25", "2 counties"),
            ("0.25 to under 0.5", "2 counties"),
            ("0.5 to under 0.75", "1 county"),
            ("0.75 to under 1", "1 county"),
            ("1 to under 1.5: at or above threshold", "2 counties"),
            ("1.5 or more: at or above threshold", "1 county"),
            ("too few fields to show", "2 counties"),
            ("all fields outside the stage window", "1 county"),
            ("no visits", "3 counties"),
        ]
    );
    assert_eq!(svg.matches("stroke=\"#000\" stroke-width=\"3\"").count(), 3);
    for (pattern, counties) in [
        ("too-few-fields", 2),
        ("outside-stage", 1),
        ("no-visits", 3),
    ] {
        assert_eq!(
            svg.matches(&format!("fill=\"url(#map-{pattern})\""))
                .count(),
            counties
        );
        assert!(svg.contains(&format!("<pattern id=\"map-{pattern}\"")));
    }
    assert!(svg.contains(
        "<desc id=\"map-description\">Of 16 counties, 3 have a median at or above threshold. The \
         highest median is 1.62, in Foxglove. 1 county: nothing found;"
    ));
}

// ---- the files ----

/// The files of the sample week, checked by programs that are not ours.
#[test]
fn the_week_opens_in_other_programs_with_every_county_and_figure() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let coverage = Coverage::WholeWeek {
        iso_week: "2026-W30",
        protocols: &["lygus-adults"],
    };
    let bytes = county_week_geojson(&region(), &week(), coverage).expect("GeoJSON");
    let path = folder.path().join("week.geojson");
    write_file(&path, &bytes).expect("written");
    let told = crate::support::python(
        "tests/reference/check_map_files.py",
        &["geojson", text(&path), "32"],
    );
    assert_eq!(told.trim(), "32 features, every check passed");

    let collection: Value = serde_json::from_slice(&bytes).expect("JSON");
    assert_eq!(collection["generator"], "bractline");
    assert_eq!(collection["invented"], NOTICE);
    assert_eq!(collection["boundaries"]["vintage"], "2026");
    assert!(
        collection["caution"]
            .as_str()
            .is_some_and(|text| text.contains("label"))
    );
    let find = |id: &str| {
        let features = collection["features"].as_array().expect("features");
        let found = features.iter().find(|feature| feature["id"] == id);
        found.unwrap_or_else(|| panic!("no {id}"))["properties"].clone()
    };
    let known = find("002.2026-W30.bsm-eggs");
    assert_eq!(known["status"], "pressure");
    assert_eq!(known["median_pressure"], 1.317);
    assert_eq!(known["share_at_threshold"], 4.0 / 7.0);
    assert_eq!(
        (&known["start"], &known["end"]),
        (&json!("2026-07-20"), &json!("2026-07-26"))
    );
    for (id, status) in [
        ("004.2026-W30.bsm-eggs", "suppressed"),
        ("005.2026-W30.bsm-eggs", "none-found"),
        ("008.2026-W30.bsm-eggs", "outside-stage"),
        ("014.2026-W30.bsm-eggs", "no-visits"),
        ("002.2026-W30.lygus-adults", "no-visits"),
    ] {
        let properties = find(id);
        assert_eq!(properties["status"], status, "{id}");
        assert_eq!(properties["suppressed"], status == "suppressed", "{id}");
        let members = properties.as_object().expect("an object");
        assert_eq!(
            members.len(),
            known.as_object().expect("an object").len(),
            "{id}"
        );
        if matches!(status, "suppressed" | "no-visits") {
            let figures = members
                .iter()
                .filter(|(name, _)| name.contains("fields_") || name.contains("pressure"));
            assert!(
                figures.clone().count() >= 7 && figures.clone().all(|(_, v)| v.is_null()),
                "{id}"
            );
        }
    }
}

#[test]
fn several_weeks_hold_the_visited_counties_alone_in_order() {
    let mut rows = vec![shown(2, 5, 1, 0.5, 1.0), shown(0, 5, 1, 0.5, 1.0)];
    rows.push(CountyWeek {
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
    let write = |rows: &[CountyWeek], iso_week| {
        let coverage = Coverage::WholeWeek {
            iso_week,
            protocols: &[],
        };
        county_week_geojson(&region(), rows, coverage).map(|_| ())
    };
    let stranger = CountyWeek {
        county_id: "999".to_owned(),
        ..suppressed(0)
    };
    for (rows, week, says) in [
        (vec![suppressed(0)], "2026-W31", "another week"),
        (vec![suppressed(0), suppressed(0)], "2026-W30", "two rows"),
        (vec![stranger], "2026-W30", "not in the region"),
    ] {
        let failure = write(&rows, week).expect_err(says).to_string();
        assert!(failure.contains(says), "{failure}");
    }
}

#[test]
fn a_region_across_the_antimeridian_gets_a_box_whose_west_is_greater_than_its_east() {
    let ring = |west: f64, east: f64| {
        json!([[
            [west, 51.0],
            [east, 51.0],
            [east, 53.0],
            [west, 53.0],
            [west, 51.0]
        ]])
    };
    let islands = json!({
        "type": "Feature",
        "properties": {"id": "001", "name": "Far Islands"},
        "geometry": {"type": "MultiPolygon", "coordinates": [ring(-180.0, -163.5), ring(172.4, 180.0)]},
    });
    let region = region_of(vec![islands]);
    let rows = [shown(0, 5, 1, 0.5, 1.0)];
    let bytes = county_week_geojson(&region, &rows, Coverage::VisitedCounties).expect("GeoJSON");
    let collection: Value = serde_json::from_slice(&bytes).expect("JSON");
    assert_eq!(collection["bbox"], json!([172.4, 51.0, -163.5, 53.0]));
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("islands.geojson");
    write_file(&path, &bytes).expect("written");
    let told = crate::support::python(
        "tests/reference/check_map_files.py",
        &["geojson", text(&path), "1"],
    );
    assert_eq!(told.trim(), "1 features, every check passed");
    // On the map the two parts lie side by side, not at the two ends of the world.
    let title = MapTitle {
        subject: "Eggs",
        week: "week 30",
    };
    let svg = draw_county_map(&region, &rows, title).svg;
    let height: f64 = between(&svg, "viewBox=\"0 0 ", "\"")
        .split_once(' ')
        .expect("two")
        .1
        .parse()
        .expect("a number");
    assert!(height > 60.0, "the map is a strip {height} high");
}

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
        (
            "suppressed",
            Arc::new(BooleanArray::from(vec![false, true])),
        ),
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
        doc("suppressed", "Whether the figures are withheld", None),
    ];
    let parquet = folder.path().join("county_week.parquet");
    let csv = folder.path().join("county_week.csv");
    let bytes = write_parquet(&table, &docs, Some(NOTICE)).expect("Parquet");
    write_file(&parquet, &bytes).expect("written");
    write_file(&csv, &write_csv(&table, &docs).expect("CSV")).expect("written");
    let told = crate::support::python(
        "tests/reference/check_map_files.py",
        &["tables", text(&parquet), text(&csv)],
    );
    let told: Value = serde_json::from_str(&told).expect("JSON");
    assert_eq!(told["invented"], NOTICE);
    assert_eq!(told["compression"], "ZSTD");
    assert_eq!(
        told["columns"],
        json!({
            "county_name": {"description": "Name of the county"},
            "fields_visited": {"description": "Fields with a visit in the stage window", "unit": "fields"},
            "median_pressure": {"description": "Median of the fields' pressures; 1 = at threshold", "unit": "1"},
            "suppressed": {"description": "Whether the figures are withheld"},
        })
    );
    assert_eq!(told["rows_differ"], json!([]));
    assert_eq!(told["first_name_in_csv"], "'=Alder");
}

/// Among them are outlines that run back over themselves (17069, 51093), cross themselves (06001),
/// lie on both sides of the 180th meridian (02016), and one that is not there at all (51610).
#[test]
fn every_built_in_county_is_published_as_a_valid_shape() {
    let states: Vec<String> = (1..=56)
        .filter(|code| ![3, 7, 14, 43, 52].contains(code))
        .map(|code| format!("{code:02}"))
        .collect();
    let region = Region::built_in(&format!("us:{}", states.join(","))).expect("built-in states");
    let coverage = Coverage::WholeWeek {
        iso_week: "2026-W30",
        protocols: &["bsm-eggs"],
    };
    let bytes = county_week_geojson(&region, &[], coverage).expect("GeoJSON");
    let collection: Value = serde_json::from_slice(&bytes).expect("JSON");
    let west_and_east = (&collection["bbox"][0], &collection["bbox"][2]);
    assert!(
        west_and_east.0.as_f64() > west_and_east.1.as_f64(),
        "{west_and_east:?}"
    );
    assert_eq!(collection["counties_without_outline"], json!(["51610"]));
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("counties.geojson");
    write_file(&path, &bytes).expect("written");
    let told = crate::support::python(
        "tests/reference/check_map_files.py",
        &["geojson", text(&path), "3141"],
    );
    assert_eq!(told.trim(), "3141 features, every check passed");
}
