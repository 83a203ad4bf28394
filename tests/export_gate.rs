//! The gate of a package: files that give something away, each bent from one that does not.

use std::collections::BTreeSet;

use arrow::array::{ArrayRef, Float64Array, RecordBatch, StringArray};
use bractline::publish::export::{Level, PackageFile};
use bractline::publish::gate::{Confidences, Gate};
use bractline::publish::gate_export::ExportGate;
use bractline::publish::tables::{ColumnDoc, write_parquet};
use bractline::region::Region;
use std::sync::Arc;

const FIELD: (f64, f64) = (-100.123_45, 44.123_45);

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
    let gate = Gate::new(&region, ["bsm-eggs"], 10.0, &confidences).expect("stages");
    let gate = ExportGate::new(&gate, level).expect("a level that is judged");
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

#[test]
fn what_gives_nothing_away_passes() {
    for good in [
        file("README.md", "nothing of anybody"),
        file(
            "region_stage.csv",
            "season,iso_week,protocol,crop_stage,fields\r\n2026,2026-W30,bsm-eggs,R3,4\r\n",
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
                "season,crop_stage,fields,field_id\r\n2026,R3,4,x\r\n",
            ),
            "field_id",
        ),
        (
            file(
                "region_stage.csv",
                "season,crop_stage,fields\r\n2026,farm-77,4\r\n",
            ),
            "farm-77",
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
                "county_id,suppressed,max_pressure\r\n46013,true,1.5\r\n",
            ),
            "is suppressed",
        ),
        (
            file("county_week.csv", "county_id,suppressed\r\n99999,false\r\n"),
            "no county",
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
        let columns: [(&str, ArrayRef); 2] = [
            ("crop_stage", Arc::new(StringArray::from(vec![stage]))),
            ("fields", Arc::new(Float64Array::from(vec![4.0]))),
        ];
        let table = RecordBatch::try_from_iter(columns).expect("columns");
        let doc = |name| ColumnDoc {
            name,
            description: about,
            unit: None,
        };
        let bytes = write_parquet(&table, &[doc("crop_stage"), doc("fields")], invented);
        PackageFile {
            bytes: bytes.expect("a file"),
            ..file("region_stage.parquet", "")
        }
    };
    assert_eq!(judged(Level::Public, &made("R3", "words", None)), Ok(()));
    for bad in [
        made("obs-0123", "words", None),
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
    assert!(ExportGate::new(&gate, Level::Full).is_err());
}
