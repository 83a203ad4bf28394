//! Weather of a workspace and the days of treatment: two layouts of files against an independent computation, what
//! the settings may not say, and what later weather must not change.

use std::path::PathBuf;

use jiff::ToSpan;
use jiff::civil::date;
use scouting::region::Region;
use serde_json::{Value, json};

use crate::judge::python;
use crate::support::issuing::{COUNTIES, visits};
use crate::support::{TestWorkspace, csv_rows, folder_bytes, lines};

const WEEK: &str = "2026-W30";

const REFERENCE: &str = "tests/reference/field_figures.py";

const SETTINGS: &str = "bractline.toml";

/// Minimum and maximum of the days of a summer, tenths of a degree Celsius; invented, no two days alike.
fn summer(coolest: i64, through: jiff::civil::Date) -> Vec<(jiff::civil::Date, i64, i64)> {
    let days = date(2026, 6, 1).series(1.day()).zip(0_i64..);
    days.take_while(|(day, _)| *day <= through)
        .map(|(day, number)| {
            let min = coolest + number * 37 % 61;
            (day, min, min + 95 + number * 53 % 71)
        })
        .collect()
}

/// Rows of GHCN-Daily of two stations, the second in a cooler place.
fn ghcn(through: jiff::civil::Date) -> String {
    let rows = |station: &str, coolest: i64| -> String {
        let days = summer(coolest, through);
        days.iter()
            .map(|(day, min, max)| {
                let day = day.strftime("%Y%m%d");
                format!("{station},{day},TMAX,{max},,,S,2400\n{station},{day},TMIN,{min},,,S,2400\n{station},{day},PRCP,0,,,S,\n")
            })
            .collect()
    };
    rows("XX000000001", 120) + &rows("XX000000002", 40)
}

fn plain(through: jiff::civil::Date) -> String {
    let days = summer(110, through);
    let row = |(day, min, max): &(jiff::civil::Date, i64, i64)| {
        format!(
            "{day},{}.{},{}.{}\n",
            min / 10,
            min % 10,
            max / 10,
            max % 10
        )
    };
    "date,tmin_c,tmax_c\n".to_owned() + &days.iter().map(row).collect::<String>()
}

/// A workspace of South Dakota with four fields in each of three counties, half of them seen at R2.
struct Scouted {
    workspace: TestWorkspace,
    visits: Vec<Value>,
    visits_file: PathBuf,
}

fn scouted() -> Scouted {
    let region = Region::built_in("us:46").expect("South Dakota");
    let mut visits: Vec<Value> = COUNTIES
        .iter()
        .flat_map(|county| visits(&region, county, 4, "2026-07-21", 2))
        .collect();
    for (visit, day) in visits
        .iter_mut()
        .step_by(2)
        .zip([20, 22, 24].into_iter().cycle())
    {
        visit["crop_stage"] = "R2".into();
        visit["observed_on"] = format!("2026-07-{day}").into();
        visit["submitted_at"] = format!("2026-07-{day}T18:00:00Z").into();
    }
    // In one field nobody found an egg.
    let last = visits.last_mut().expect("a visit");
    for site in last["sites"].as_array_mut().expect("sites") {
        site["heads"] = json!(vec![vec![0; 6]; 5]);
    }
    let workspace = TestWorkspace::of_region("us:46");
    let text = lines(&visits);
    let account = workspace.load_text("visits.ndjson", &text);
    assert_eq!(account["accepted"], visits.len(), "{account:#}");
    let visits_file = workspace.beside("visits.ndjson");
    Scouted {
        workspace,
        visits,
        visits_file,
    }
}

impl Scouted {
    /// Puts a weather file in the workspace and names it in the settings, in place of what they said.
    fn with_weather(&self, name: &str, text: &str, stations: &[(&str, &str)]) {
        std::fs::write(self.workspace.path().join(name), text).expect("a weather file");
        let path = self.workspace.path().join(SETTINGS);
        let settings = std::fs::read_to_string(&path).expect("settings");
        let mut settings: toml::Table = settings.parse().expect("TOML");
        let stations: toml::Table = stations
            .iter()
            .map(|(county, station)| ((*county).to_owned(), (*station).into()))
            .collect();
        let mut weather = toml::Table::new();
        weather.insert("file".to_owned(), name.into());
        if !stations.is_empty() {
            weather.insert("stations".to_owned(), stations.into());
        }
        settings.insert("weather".to_owned(), weather.into());
        std::fs::write(&path, settings.to_string()).expect("settings");
    }

    /// The rows of field_week.parquet and of the CSV of county-weeks.
    fn rolled_up(&self, name: &str) -> (Vec<Value>, Vec<u8>) {
        let out = self.workspace.beside(name);
        let out_name = out.display().to_string();
        self.workspace
            .run(&["rollup", "--week", WEEK, "--out", &out_name])
            .expect_code(0);
        let rows = python(
            REFERENCE,
            &["rows", &format!("{out_name}/private/field_week.parquet")],
        );
        let county_weeks =
            std::fs::read(out.join("private/county_week_full.csv")).expect("county-weeks");
        (serde_json::from_str(&rows).expect("JSON"), county_weeks)
    }

    /// The windows of all visits by the weather of one station, computed by Python.
    fn windows(&self, weather: &str, station: &[&str]) -> Value {
        let weather = self.workspace.path().join(weather).display().to_string();
        let visits = self.visits_file.display().to_string();
        let arguments = [&["windows", &visits, &weather], station].concat();
        serde_json::from_str(&python(REFERENCE, &arguments)).expect("JSON")
    }
}

/// The days of hatch do not depend on temperatures: they are those of the independent computation, and one field has none.
#[track_caller]
fn assert_hatch(scouted: &Scouted, rows: &[Value]) {
    let visits = scouted.visits_file.display().to_string();
    let expected: Value =
        serde_json::from_str(&python(REFERENCE, &["hatch", &visits])).expect("JSON");
    for row in rows {
        let expected = &expected[row["visit_id"].as_str().expect("text")];
        for name in ["hatch_from", "hatch_to"] {
            assert_eq!(row[name], expected[name], "{name} of {row:#}");
        }
    }
    let without = rows.iter().filter(|row| row["hatch_from"].is_null());
    assert_eq!(without.count(), 1);
}

/// Opening and closing day of each county in the CSV.
fn county_windows(csv: &[u8]) -> Vec<[String; 3]> {
    let columns = ["county_id", "window_opens", "window_closes"];
    let rows = csv_rows(csv).into_iter();
    rows.map(|row| columns.map(|name| row[name].clone()))
        .collect()
}

/// Earliest opening and latest closing day of the fields of each county.
fn of_fields(rows: &[Value]) -> Vec<[String; 3]> {
    COUNTIES
        .map(|county| {
            let of_county = || rows.iter().filter(move |row| row["county_id"] == county);
            let day = |row: &Value, name: &str| row[name].as_str().expect("a day").to_owned();
            let opens = of_county().map(|row| day(row, "window_opens")).min();
            let closes = of_county().map(|row| day(row, "window_closes")).max();
            [
                county.to_owned(),
                opens.expect("fields"),
                closes.expect("fields"),
            ]
        })
        .to_vec()
}

#[track_caller]
fn assert_rests_on(rows: &[Value], windows: impl Fn(&str) -> Value, basis: &str) {
    assert_eq!(rows.len(), 12);
    for row in rows {
        assert_eq!(row["window_basis"], basis, "{row:#}");
        let county = row["county_id"].as_str().expect("text");
        let expected = &windows(county)[row["visit_id"].as_str().expect("text")];
        for name in ["window_opens", "window_closes"] {
            assert_eq!(row[name], expected[name], "{name} of {row:#}");
        }
    }
}

#[test]
fn with_weather_the_days_are_those_of_its_heat_and_without_those_of_the_protocol() {
    let scouted = scouted();
    let through = date(2026, 7, 23);
    let (by_days, county_by_days) = scouted.rolled_up("days");
    let of_protocol = |visit: &Value| -> Value {
        let on: jiff::civil::Date = visit["observed_on"]
            .as_str()
            .expect("a day")
            .parse()
            .expect("a day");
        // Manitoba's table at a mean of 17 to 24 °C: R2 9 to 23 days, R3 4 to 16.
        let (few, many) = if visit["crop_stage"] == "R2" {
            (9, 23)
        } else {
            (4, 16)
        };
        json!({"window_opens": (on + few.days()).to_string(), "window_closes": (on + many.days()).to_string()})
    };
    let expected: Value = scouted
        .visits
        .iter()
        .map(|visit| {
            (
                visit["visit_id"].as_str().expect("text").to_owned(),
                of_protocol(visit),
            )
        })
        .collect::<serde_json::Map<_, _>>()
        .into();
    assert_rests_on(&by_days, |_| expected.clone(), "days");
    assert_hatch(&scouted, &by_days);
    assert_eq!(county_windows(&county_by_days), of_fields(&by_days));

    // A plain file of one station serves every county.
    scouted.with_weather("weather.csv", &plain(through), &[]);
    let (by_plain, county_by_plain) = scouted.rolled_up("plain");
    let windows = scouted.windows("weather.csv", &[]);
    assert_rests_on(&by_plain, |_| windows.clone(), "weather");
    assert_hatch(&scouted, &by_plain);
    assert_eq!(county_windows(&county_by_plain), of_fields(&by_plain));
    assert_ne!(county_by_plain, county_by_days);

    // Two stations of GHCN-Daily: one county has the warm one, every other the cool one.
    let stations = [(COUNTIES[0], "XX000000001"), ("*", "XX000000002")];
    scouted.with_weather("ghcn.csv", &ghcn(through), &stations);
    let (by_ghcn, county_by_ghcn) = scouted.rolled_up("ghcn");
    let [warm, cool] =
        ["XX000000001", "XX000000002"].map(|station| scouted.windows("ghcn.csv", &[station]));
    assert_ne!(warm, cool);
    let of_county = |county: &str| match county == COUNTIES[0] {
        true => warm.clone(),
        false => cool.clone(),
    };
    assert_rests_on(&by_ghcn, of_county, "weather");
    assert_eq!(county_windows(&county_by_ghcn), of_fields(&by_ghcn));

    // A county without a station keeps the days of the protocol.
    scouted.with_weather("ghcn.csv", &ghcn(through), &stations[..1]);
    let (mixed, _) = scouted.rolled_up("mixed");
    for row in &mixed {
        let basis = if row["county_id"] == COUNTIES[0] {
            "weather"
        } else {
            "days"
        };
        assert_eq!(row["window_basis"], basis, "{row:#}");
    }
}

#[test]
fn weather_after_the_week_does_not_change_the_figures_of_the_week() {
    let scouted = scouted();
    // The week ends on Sunday, 26 July.
    scouted.with_weather("weather.csv", &plain(date(2026, 7, 26)), &[]);
    let at_its_end = scouted.rolled_up("at-its-end");
    scouted.with_weather("weather.csv", &plain(date(2026, 8, 20)), &[]);
    assert!(scouted.rolled_up("later") == at_its_end, "other figures");
    scouted.with_weather("weather.csv", &plain(date(2026, 7, 22)), &[]);
    assert!(
        scouted.rolled_up("earlier") != at_its_end,
        "the last days of the week count"
    );
}

#[test]
fn settings_that_name_what_is_not_there_are_refused() {
    let scouted = scouted();
    let through = date(2026, 7, 26);
    for (name, text, stations, what, place, mend) in [
        (
            "ghcn.csv",
            ghcn(through),
            &[("*", "XX000000009")][..],
            "no minimum and maximum of station XX000000009",
            "ghcn.csv",
            "name a station as the file writes it",
        ),
        (
            "ghcn.csv",
            ghcn(through),
            &[("46999", "XX000000001")],
            "the county \"46999\", which is not in the region",
            SETTINGS,
            "county ids of the boundaries",
        ),
        (
            "ghcn.csv",
            ghcn(through),
            &[],
            "the weather file has 2 stations",
            "XX000000001, XX000000002",
            "[weather.stations]",
        ),
        (
            "weather.csv",
            plain(through).replace("2026-06-02", "2026-02-30"),
            &[],
            "",
            "weather.csv, line 3",
            "2026-07-21",
        ),
    ] {
        scouted.with_weather(name, &text, stations);
        let out = scouted.workspace.beside("refused");
        let out_name = out.display().to_string();
        let run = scouted
            .workspace
            .run(&["rollup", "--out", &out_name])
            .expect_code(1);
        assert!(run.stderr.contains(what), "{run:?}");
        let (_, rest) = run.stderr.split_once("\nwhere: ").expect("a place");
        let (found, mended) = rest.split_once("\nhelp:  ").expect("how to correct it");
        assert!(found.contains(place), "{run:?}");
        assert!(mended.contains(mend), "{run:?}");
        assert!(!out.exists());
    }
    std::fs::remove_file(scouted.workspace.path().join("weather.csv")).expect("a file");
    let out_name = scouted.workspace.beside("refused").display().to_string();
    let run = scouted
        .workspace
        .run(&["rollup", "--out", &out_name])
        .expect_code(1);
    assert!(
        run.stderr.contains("weather.csv") && run.stderr.contains("help:"),
        "{run:?}"
    );
}

#[test]
fn an_issued_alert_comes_out_byte_for_byte_after_the_weather_file_changed() {
    let scouted = scouted();
    let workspace = &scouted.workspace;
    scouted.with_weather("weather.csv", &plain(date(2026, 7, 23)), &[]);
    workspace
        .run(&["alert", "--week", WEEK, "--issue"])
        .expect_code(0);
    let frozen = folder_bytes(&workspace.path().join("alerts/issued/0001"));
    let warmer = plain(date(2026, 7, 23)).replace(",1", ",2");
    let broken = "date,tmin_c,tmax_c\n2026-07-01,30,10\n".to_owned();
    for (number, text) in [warmer, broken].into_iter().enumerate() {
        std::fs::write(workspace.path().join("weather.csv"), text).expect("a weather file");
        let out = workspace.beside(&format!("again-{number}"));
        let out_name = out.display().to_string();
        let run = workspace.run(&["alert", "--as-issued", "1", "--out", &out_name]);
        assert!(
            run.expect_code(0)
                .stdout
                .contains("each identical byte for byte")
        );
        assert!(folder_bytes(&out) == frozen, "other bytes");
    }
    std::fs::remove_file(workspace.path().join("weather.csv")).expect("a weather file");
    workspace.run(&["alert", "--as-issued", "1"]).expect_code(0);
    workspace.run(&["store", "verify"]).expect_code(0);
}
