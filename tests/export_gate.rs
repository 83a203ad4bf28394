//! The gate of a package: files that give something away, each bent from one that does not.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use arrow::array::{ArrayRef, BooleanArray, Int64Array, RecordBatch, StringArray};
use bractline::export::gate::ExportGate;
use bractline::export::package::facts::Level;
use bractline::export::package::package_file::PackageFile;
use bractline::gate::judge::{Confidences, Gate};
use bractline::shared::tables::{ColumnDoc, write_parquet};
use disclosure::editions::Entry;
use disclosure::field::GridPoint;
use disclosure::median_class::MedianClass;
use disclosure::place::Place;
use disclosure::public_row::PublicRow;
use disclosure::rule::Level as DisclosureLevel;
use disclosure::stage_groups::StageFields;
use jiff::civil::date;
use scouting::region::Region;
use scouting::visit::week::WeekStart;

const FIELD: (f64, f64) = (-100.123_45, 44.123_45);

/// The district of the row's county.
fn districts() -> BTreeMap<String, String> {
    [("46013".to_owned(), "North".to_owned())].into()
}

/// The one public row: six fields of a county, two of them at threshold.
fn row() -> PublicRow {
    PublicRow {
        place: Place::County("46013".to_owned()),
        season: 2026,
        iso_week: "2026-W30".to_owned(),
        week_starts: WeekStart::MONDAY,
        protocol: "bsm-eggs".to_owned(),
        edition: 1,
        visits_until: date(2026, 7, 27),
        level: DisclosureLevel::Survey,
        fields_visited: 6,
        at_threshold: [2, 2],
        median: Some(MedianClass {
            from: 0.5,
            below: Some(1.0),
            nothing_found: false,
        }),
        mean_pressure: None,
        fields_with_assumed_economics: Some(0),
        fields_outside_stage: Some(0),
        treatment_weeks: None,
        window_basis: None,
        stages: vec![StageFields {
            crop_stage: "R3".to_owned(),
            place: 3,
            fields: 6,
            in_window: true,
        }],
        cells: vec![
            GridPoint {
                cell: "1.2".to_owned(),
                lon: -100.1,
                lat: 44.1,
                grid_km: 10.0,
            },
            GridPoint {
                cell: "1.3".to_owned(),
                lon: -100.1,
                lat: 44.15,
                grid_km: 10.0,
            },
        ],
    }
}

fn judged(level: Level, file: &PackageFile) -> Result<(), String> {
    let region = Region::built_in("us:46").expect("South Dakota");
    let names = ["F-000123", "farm-77", "obs-0123", "5551234"];
    let confidences = Confidences {
        names: names
            .into_iter()
            .map(str::to_owned)
            .collect::<BTreeSet<_>>(),
        points: vec![FIELD],
    };
    let mut gate = Gate::new(&region, ["bsm-eggs"], 10.0, &confidences).expect("stages");
    let entry = Entry {
        row: row(),
        members: Vec::new(),
    };
    gate.allow_rows([&entry]);
    let gate =
        ExportGate::new(&gate, level, &[row()], &districts()).expect("a level that is judged");
    gate.judge(file).map_err(|failure| failure.to_string())
}

fn file(name: &str, text: &str) -> PackageFile {
    PackageFile {
        name: name.to_owned(),
        about: String::new(),
        bytes: text.as_bytes().to_vec(),
        within: Vec::new(),
    }
}

fn packed(part: &str, text: &str) -> PackageFile {
    PackageFile {
        within: vec![(part.to_owned(), text.as_bytes().to_vec())],
        ..file("dwca.zip", "")
    }
}

const POINT: &str = "cell,cell_lon,cell_lat,grid_km,season,iso_week,protocol\r\n";

const STAGE: &str = "season,iso_week,protocol,crop_stage,in_window,fields";

const WEEK: &str = "iso_week,protocol,fields_visited,at_threshold_min,at_threshold_max\r\n";

const COUNTY: &str = "county_id,iso_week,protocol,edition,fields_visited,at_threshold_min,at_threshold_max,median_class,mean_pressure";

#[test]
fn what_gives_nothing_away_passes() {
    for good in [
        file("README.md", "nothing of anybody"),
        file("TERMS.md", "agreed with nobody yet"),
        file(
            "county_week.csv",
            &format!("{COUNTY}\r\n46013,2026-W30,bsm-eggs,1,6,2,2,0.5-1,\r\n"),
        ),
        file(
            "region_week.csv",
            &format!("{WEEK}2026-W30,bsm-eggs,6,2,2\r\n"),
        ),
        file(
            "district_week.csv",
            "district,iso_week,protocol,fields_visited,at_threshold_min,at_threshold_max\r\nNorth,2026-W30,bsm-eggs,6,2,2\r\n",
        ),
        file(
            "region_median.csv",
            "iso_week,protocol,median_class,counties\r\n2026-W30,bsm-eggs,0.5-1,1\r\n",
        ),
        file(
            "region_stage.csv",
            &format!("{STAGE}\r\n2026,2026-W30,bsm-eggs,R3,true,6\r\n"),
        ),
        file(
            "sample_point.csv",
            &format!("{POINT}1.2,-100.1,44.1,10,2026,2026-W30,bsm-eggs\r\n"),
        ),
        packed(
            "event.csv",
            "eventID,decimalLatitude,decimalLongitude\r\nx:visit:5551234,44.1,-100.1\r\n",
        ),
    ] {
        assert_eq!(judged(Level::Public, &good), Ok(()), "{}", good.name);
    }
    // Numbers of rows mean nothing, whoever's number they look like.
    let row = file(
        "field_week.csv",
        "row,county_id,cell,field_mean\r\n5551234,46013,,1.2\r\n",
    );
    assert_eq!(judged(Level::Grid, &row), Ok(()));
    let named = file(
        "field_week.csv",
        "row,county_id,cell,field_mean\r\n1,46013,farm-77,1.2\r\n",
    );
    let stopped = judged(Level::Grid, &named).expect_err("a farm is named");
    assert!(stopped.contains("farm-77"), "{stopped}");
}

#[test]
fn what_gives_a_field_away_is_stopped_with_the_reason() {
    let row = "1.2,-100.1,44.1,10,2026,2026-W30,bsm-eggs\r\n";
    let near = "1.3,-100.1,44.15,10,2026,2026-W30,bsm-eggs\r\n";
    for (bad, why) in [
        (file("notes.txt", "anything"), "no file of a package"),
        (file("visit.csv", "row\r\n1\r\n"), "no file of a package"),
        (file("README.md", "scouted by obs-0123"), "obs-0123"),
        (
            file("datapackage.json", "{\"x\": \"F-000123\"}"),
            "F-000123",
        ),
        (
            file(
                "region_stage.csv",
                &format!("{STAGE},field_id\r\n2026,2026-W30,bsm-eggs,R3,true,6,x\r\n"),
            ),
            "field_id",
        ),
        (
            file(
                "field_week.csv",
                "row,county_id,cell,field_mean\r\n1,46013,farm-77,1.2\r\n",
            ),
            "no file of a package",
        ),
        (
            file(
                "region_stage.csv",
                &format!("{STAGE}\r\n2026,2026-W30,bsm-eggs,R3,true,5\r\n"),
            ),
            "no sum of public rows",
        ),
        (
            file(
                "region_week.csv",
                &format!("{WEEK}2026-W30,bsm-eggs,7,2,2\r\n"),
            ),
            "no sum of public rows",
        ),
        (
            file(
                "district_week.csv",
                "district,iso_week,protocol,fields_visited,at_threshold_min,at_threshold_max\r\nSouth,2026-W30,bsm-eggs,6,2,2\r\n",
            ),
            "no sum of public rows",
        ),
        (
            file(
                "region_median.csv",
                "iso_week,protocol,median_class,counties\r\n2026-W30,bsm-eggs,0.5-1,2\r\n",
            ),
            "no sum of public rows",
        ),
        (
            file(
                "sample_point.csv",
                &format!("{POINT}7.7,-100.5,44.5,10,2026,2026-W30,bsm-eggs\r\n"),
            ),
            "no sum of public rows",
        ),
        (
            file(
                "county_week.csv",
                &format!("{COUNTY}\r\n46013,2026-W30,bsm-eggs,1,6,3,3,0.5-1,\r\n"),
            ),
            "no public row",
        ),
        (
            file(
                "county_week.csv",
                &format!("{COUNTY},max_pressure\r\n46013,2026-W30,bsm-eggs,1,6,2,2,0.5-1,,1.5\r\n"),
            ),
            "max_pressure",
        ),
        (
            file("sample_point.csv", &format!("{POINT}{row}{near}")),
            "finer than the grid",
        ),
        (
            file(
                "sample_point.csv",
                &format!("{POINT}1.2,-100.12345,44.12345,10,2026,2026-W30,bsm-eggs\r\n"),
            ),
            "point of a field",
        ),
        (
            file(
                "county_week.csv",
                &format!("{COUNTY}\r\n99999,2026-W30,bsm-eggs,1,6,2,2,0.5-1,\r\n"),
            ),
            "which is not a county",
        ),
        (
            packed("event.csv", "eventID,recordedBy\r\n1,obs-0123\r\n"),
            "obs-0123",
        ),
        (
            packed(
                "event.csv",
                "eventID,decimalLatitude,decimalLongitude\r\n1,44.12345,-100.12345\r\n",
            ),
            "point of a field",
        ),
        (packed("eml.xml", "<para>farm-77</para>"), "farm-77"),
        (packed("visits.csv", "a\r\n1\r\n"), "no file of a package"),
    ] {
        let stopped = judged(Level::Public, &bad).expect_err(&bad.name);
        assert!(stopped.contains(why), "{}: {stopped}", bad.name);
    }
}

#[test]
fn a_parquet_file_is_opened_and_judged_by_its_rows_and_notes() {
    let made = |stage: &str, about: &str, invented: Option<&str>| {
        let text = |text: &str| Arc::new(StringArray::from(vec![text])) as ArrayRef;
        let columns: [(&str, ArrayRef); 5] = [
            ("iso_week", text("2026-W30")),
            ("protocol", text("bsm-eggs")),
            ("crop_stage", text(stage)),
            ("in_window", Arc::new(BooleanArray::from(vec![true]))),
            ("fields", Arc::new(Int64Array::from(vec![6]))),
        ];
        let docs = columns.each_ref().map(|(name, _)| ColumnDoc {
            name,
            description: about,
            unit: None,
        });
        let table = RecordBatch::try_from_iter(columns.clone()).expect("columns");
        let bytes = write_parquet(&table, &docs, invented);
        PackageFile {
            bytes: bytes.expect("a file"),
            ..file("region_stage.parquet", "")
        }
    };
    assert_eq!(judged(Level::Public, &made("R3", "words", None)), Ok(()));
    let other = judged(Level::Public, &made("R4", "words", None));
    assert!(other.is_err_and(|why| why.contains("no sum of public rows")));
    for bad in [
        made("R3", "seen by obs-0123", None),
        made("R3", "words", Some("obs-0123")),
    ] {
        let stopped = judged(Level::Public, &bad).expect_err("a scout is named");
        assert!(stopped.contains("obs-0123"), "{stopped}");
    }
    let cut = PackageFile {
        bytes: made("R3", "words", None).bytes[..100].to_vec(),
        ..file("region_stage.parquet", "")
    };
    judged(Level::Public, &cut).expect_err("no Parquet file");
}

#[test]
fn a_level_that_holds_everything_back_from_nobody_is_never_judged_good() {
    let region = Region::built_in("us:46").expect("South Dakota");
    let gate = Gate::new(&region, [], 10.0, &Confidences::default()).expect("stages");
    assert!(ExportGate::new(&gate, Level::Full, &[], &BTreeMap::new()).is_err());
}
