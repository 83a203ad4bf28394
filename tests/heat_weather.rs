//! Weather files of every layout: what is read, left out, filled in and reported, and what is refused. Stations and
//! temperatures are invented.

use std::io::Write;
use std::path::{Path, PathBuf};

use flate2::Compression;
use flate2::write::GzEncoder;
use jiff::civil::{Date, date};
use scouting::phenology::weather::{TemperatureUnit, WeatherSeries, read_weather};

/// A weather file in a folder of its own, removed when it is dropped.
struct WeatherFile {
    _folder: tempfile::TempDir,
    path: PathBuf,
}

impl WeatherFile {
    fn of(name: &str, content: &[u8]) -> WeatherFile {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(name);
        std::fs::write(&path, content).unwrap();
        WeatherFile {
            _folder: folder,
            path,
        }
    }
}

fn read_text(name: &str, text: &str) -> Result<Vec<WeatherSeries>, String> {
    let file = WeatherFile::of(name, text.as_bytes());
    read_weather(&file.path, &[], None).map_err(|failure| failure.to_string())
}

fn one(name: &str, text: &str) -> WeatherSeries {
    let series = read_text(name, text).unwrap();
    let [one] = <[WeatherSeries; 1]>::try_from(series).unwrap();
    one
}

fn temperatures(series: &WeatherSeries, day: Date) -> (f64, f64) {
    let day = series.days[&day];
    (day.min_c(), day.max_c())
}

#[test]
fn rows_of_ghcn_daily_are_read_without_the_values_that_failed_a_check() {
    let rows = "\
US000000001,20260701,TMAX,289,,,7,0700
US000000001,20260701,TMIN,111,,,7,0700
US000000001,20260701,PRCP,-12,,X,7,0700
US000000001,20260702,TMAX,-9999,,,7,
US000000001,20260702,TMIN,122,,,7,
US000000001,20260703,TMAX,9990,,G,7,
US000000001,20260703,TMIN,100,,,7,2400
US000000001,20260704,TMAX,300,,,7,
US000000001,20260704,TMIN,-50,,,7,
US000000002,20260704,TMAX,250,,,7,
US000000002,20260704,TMIN,150,,,7,
";

    let header = "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME\r\n";
    let with_header = format!("\u{feff}{header}{}", rows.replace('\n', "\r\n"));
    for text in [rows, &with_header] {
        let series = read_text("2026.csv", text).unwrap();
        let [first, second] = <[WeatherSeries; 2]>::try_from(series).unwrap();
        assert_eq!(first.station, "US000000001");
        assert_eq!(temperatures(&first, date(2026, 7, 1)), (11.1, 28.9));
        assert_eq!(temperatures(&first, date(2026, 7, 4)), (-5.0, 30.0));
        assert_eq!(first.filled, [date(2026, 7, 2), date(2026, 7, 3)]);
        assert_eq!((first.left_out, first.read_in_the_morning), (1, 2));
        assert_eq!((second.days.len(), second.left_out), (1, 0));
    }
    let wanted = ["US000000002".to_owned()];
    let file = WeatherFile::of("2026.csv", rows.as_bytes());
    let series = read_weather(&file.path, &wanted, None).unwrap();
    assert_eq!(series.len(), 1);
    let unknown = read_weather(&file.path, &["US000000003".to_owned()], None).unwrap_err();
    assert!(unknown.to_string().contains("US000000003"), "{unknown}");
}

/// The first row with temperatures has the form of the access folder's files: quoted, values padded.
#[test]
fn columns_of_ghcn_daily_are_read_packed_or_not() {
    let text = r#""STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"
"US000000001","2026-07-01","44.1","-100.1","500.0","INVENTED, SD US","  289",",,7,0700","  111",",,7,0700"
"US000000001","2026-07-02","44.1","-100.1","500.0","INVENTED, SD US","","","  -50",",,7"
"US000000001","2026-07-03","44.1","-100.1","500.0","INVENTED, SD US","  310",",I,7","  120",",,7"
"US000000001","2026-07-04","44.1","-100.1","500.0","INVENTED, SD US","  300","H,,7","  117",",,7"
"#;

    let plain = one("US000000001.csv", text);
    assert_eq!(temperatures(&plain, date(2026, 7, 1)), (11.1, 28.9));
    assert_eq!(plain.filled, [date(2026, 7, 2), date(2026, 7, 3)]);
    assert_eq!((plain.left_out, plain.read_in_the_morning), (1, 2));

    let mut packed = GzEncoder::new(Vec::new(), Compression::default());
    packed.write_all(text.as_bytes()).unwrap();
    let packed = packed.finish().unwrap();
    let file = WeatherFile::of("US000000001.csv.gz", &packed);
    assert_eq!(read_weather(&file.path, &[], None).unwrap(), [plain]);
    let cut = WeatherFile::of("cut.csv.gz", &packed[..packed.len() / 2]);
    assert!(read_weather(&cut.path, &[], None).is_err());
}

#[test]
fn a_file_of_columns_in_whole_degrees_is_not_taken_for_tenths() {
    let header = "STATION,DATE,LATITUDE,LONGITUDE,ELEVATION,NAME,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES\n";
    let days = |max: &str| {
        let row =
            |day: i32| format!("US000000001,2026-07-{day:02},44,-100,500,INVENTED,{max},,50,\n");
        header.to_owned() + &(1..=12).map(row).collect::<String>()
    };
    assert_eq!(one("tenths.csv", &days("288")).days.len(), 12);
    for whole_degrees in ["88", "88.0"] {
        let refused = read_text("whole.csv", &days(whole_degrees)).unwrap_err();
        assert!(refused.contains("date, tmin_c, tmax_c"), "{refused}");
    }
}

#[test]
fn plain_columns_say_their_unit_in_their_names() {
    let celsius = one(
        "north.csv",
        "date,rain,tmin_c,tmax_c\n2026-07-01,3,10,30.5\n",
    );
    assert_eq!(celsius.station, "north");
    assert_eq!(temperatures(&celsius, date(2026, 7, 1)), (10.0, 30.5));
    let fahrenheit = one(
        "f.csv",
        "Station, Date, TMIN_F, TMAX_F\nnorth,2026-07-01,50,86\n",
    );
    assert_eq!(temperatures(&fahrenheit, date(2026, 7, 1)), (10.0, 30.0));
    let bare = read_text("bare.csv", "date,tmin,tmax\n2026-07-01,50,86\n").unwrap_err();
    assert!(
        bare.contains("do not say their unit") && bare.contains("temperature_unit = \"F\""),
        "{bare}"
    );
}

/// As NOAA's web form gives them: columns of its own order, whole °F, flags where they were ordered.
#[test]
fn columns_without_a_unit_are_read_in_the_one_that_the_office_says() {
    let header = "STATION,NAME,DATE,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES\n";
    let rows = "US1,\"INVENTED, SD US\",2026-07-01,86,\",,7,0700\",50,\",,7\"
US1,\"INVENTED, SD US\",2026-07-02,99,\",G,7\",59,\",,7\"
US1,\"INVENTED, SD US\",2026-07-03,77,\",,7\",41,\",,7\"
";
    let file = WeatherFile::of("ordered.csv", format!("{header}{rows}").as_bytes());
    let read = |unit| read_weather(&file.path, &[], unit);
    let series = read(Some(TemperatureUnit::F)).expect("a weather file");
    let [station] = series.as_slice() else {
        panic!("{series:?}")
    };
    assert_eq!(temperatures(station, date(2026, 7, 1)), (10.0, 30.0));
    assert_eq!(temperatures(station, date(2026, 7, 3)), (5.0, 25.0));
    // The maximum of July 2 failed a check of its source: its day is filled in between.
    assert_eq!(station.filled, [date(2026, 7, 2)]);
    assert_eq!((station.left_out, station.read_in_the_morning), (1, 1));
    let refused = read(None).unwrap_err().to_string();
    assert!(refused.contains("do not say their unit"), "{refused}");
    // 86 °C is no air: the message names the setting.
    let refused = read(Some(TemperatureUnit::C)).unwrap_err().to_string();
    assert!(
        refused.contains("86.0 °C is not between") && refused.contains("temperature_unit = \"F\""),
        "{refused}"
    );
}

/// May and July of the northern plains: in °F read as °C May alone passes no reading of a single value.
#[test]
fn a_file_in_the_other_unit_is_refused_by_its_summer() {
    let days = |month: i8, min: i32, max: i32| {
        let rows = (1..=12).map(|day| format!("2026-{month:02}-{day:02},{min},{max}\n"));
        format!("date,tmin,tmax\n{}", rows.collect::<String>())
    };
    let read = |text: &str, unit| {
        let file = WeatherFile::of("plain.csv", text.as_bytes());
        read_weather(&file.path, &[], Some(unit)).map_err(|failure| failure.to_string())
    };
    let (c, f) = (TemperatureUnit::C, TemperatureUnit::F);
    let (may_in_f, july_in_c) = (days(5, 42, 58), days(7, 16, 31));
    let refused = read(&may_in_f, c).unwrap_err();
    assert!(
        refused.contains("the days of 2026-05 have a mean minimum of 42")
            && refused.contains("temperature_unit = \"F\""),
        "{refused}"
    );
    assert_eq!(read(&may_in_f, f).expect("read in °F")[0].days.len(), 12);
    let refused = read(&july_in_c, f).unwrap_err();
    assert!(
        refused.contains("read in °F") && refused.contains("temperature_unit = \"C\""),
        "{refused}"
    );
    assert_eq!(read(&july_in_c, c).expect("read in °C")[0].days.len(), 12);
}

#[test]
fn short_gaps_are_filled_and_told_and_long_ones_are_listed() {
    let text = "date,tmin_c,tmax_c
2026-07-01,10,20
2026-07-05,14,28
2026-07-06,14,
2026-07-10,12,24
";

    let series = one("gaps.csv", text);
    let filled: Vec<_> = (2..=4).map(|day| date(2026, 7, day)).collect();
    assert_eq!(series.filled, filled);
    assert_eq!(temperatures(&series, date(2026, 7, 2)), (11.0, 22.0));
    assert_eq!(temperatures(&series, date(2026, 7, 4)), (13.0, 26.0));
    let missing: Vec<_> = (6..=9).map(|day| date(2026, 7, day)).collect();
    assert_eq!(series.missing, missing);
    assert!(!series.days.contains_key(&date(2026, 7, 6)));
}

#[test]
fn what_cannot_be_is_refused_with_its_line_and_a_way_to_mend_it() {
    let header = "date,tmin_c,tmax_c\n2026-07-01,10,20\n\n";
    for (row, says) in [
        (
            "2026-07-02,20,10",
            "the minimum of 20.0 °C is above the maximum of 10.0 °C",
        ),
        ("2026-07-02,10,61", "is not between"),
        ("2026-07-02,NaN,20", "is not between"),
        ("2026-07-02,cold,20", "\"cold\" is no temperature"),
        ("2026-07-02,10", "the row has 2 cells"),
        ("07/02/2026,10,20", "\"07/02/2026\" is no date"),
        ("2026-07-01,10,21", "has another value in line 2"),
        ("2026-07-02,1\u{0}0,20", "is no temperature"),
    ] {
        let refused = read_text("refused.csv", &format!("{header}{row}\n")).unwrap_err();
        assert!(refused.contains(says), "{row}: {refused}");
        assert!(
            refused.contains("refused.csv, line 4\n"),
            "{row}: {refused}"
        );
        assert!(refused.lines().count() == 3, "{row}: {refused}");
    }
    let same_twice = format!("{header}2026-07-01,10,20\n");
    assert_eq!(one("twice.csv", &same_twice).days.len(), 1);
}

#[test]
fn a_file_that_is_no_weather_is_refused() {
    let long = format!("date,tmin_c,tmax_c\n{}", "1".repeat(64 * 1024));
    for (content, says) in [
        (&b""[..], "no day with minimum and maximum"),
        (b"date,tmin_c,tmax_c\n", "no day with minimum and maximum"),
        (b"a,b\n1,2\n", "no layout of a weather file"),
        (b"\xff\xfe\x00d\n", "not UTF-8"),
        (long.as_bytes(), "longer than any row"),
    ] {
        let file = WeatherFile::of("other.csv", content);
        let refused = read_weather(&file.path, &[], None).unwrap_err().to_string();
        assert!(refused.contains(says), "{says}: {refused}");
    }
    let absent = read_weather(Path::new("absent.csv"), &[], None)
        .unwrap_err()
        .to_string();
    assert!(absent.contains("cannot read absent.csv"), "{absent}");
}
