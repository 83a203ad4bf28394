//! The public place: what gets there and what does not, what the gate stops, and that no sum on any page of
//! a season rests on more than the rows with it.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use bractline::region::Region;
use serde_json::{Value, json};

use crate::support::issuing::{loaded, visits};
use crate::support::publishing::{issued, publish, shown};
use crate::support::{Row, TestWorkspace, csv_rows, folder_bytes, lines};

#[test]
fn what_is_public_gets_there_once_and_nothing_else() {
    let workspace = issued();
    let place = workspace.beside("public");
    let first = publish(&workspace, &place).expect_code(0).json();
    assert_eq!(
        (&first["alerts"], &first["unchanged"]),
        (&json!(3), &json!(0))
    );
    let written: Vec<&str> = first["written"]
        .as_array()
        .expect("names")
        .iter()
        .filter_map(Value::as_str)
        .collect();
    // The feed and the list come last, so that they lead to nothing that is not there.
    assert_eq!(&written[written.len() - 2..], ["feed.xml", "index.html"]);
    let files = folder_bytes(&place);
    let mut names: Vec<&str> = files.keys().map(String::as_str).collect();
    let mut sorted = written.clone();
    sorted.sort_unstable();
    names.sort_unstable();
    assert_eq!(names, sorted);
    // Seven of each alert, two beside them, and a page of each of two weeks.
    assert_eq!(names.len(), 3 * 7 + 2 + 2);
    for week in ["week/2026-W29/index.html", "week/2026-W30/index.html"] {
        assert!(names.contains(&week), "{week}");
    }
    for number in ["0001", "0002", "0003"] {
        let issued = folder_bytes(&workspace.path().join("alerts/issued").join(number));
        for (name, bytes) in issued {
            assert!(
                files[&format!("{number}/{name}")] == bytes,
                "{number}/{name}"
            );
        }
    }

    let second = publish(&workspace, &place).expect_code(0).json();
    assert_eq!(
        (&second["written"], &second["unchanged"]),
        (&json!([]), &json!(25))
    );
    // The same from elsewhere: nothing in the feed or the list comes from a clock or a path.
    let elsewhere = workspace.copied();
    let other = elsewhere.beside("public");
    publish(&elsewhere, &other).expect_code(0);
    assert!(folder_bytes(&other) == files);

    // A file that was changed there is named, and left as it is; nothing else is touched.
    let changed = place.join("0002/county_week.csv");
    std::fs::write(&changed, "mine").expect("written");
    let run = publish(&workspace, &place).expect_code(1);
    assert!(
        run.stderr
            .contains("0002/county_week.csv is there already, with another content"),
        "{run:?}"
    );
    assert_eq!(std::fs::read(&changed).expect("the file"), b"mine");

    let page = String::from_utf8(files["index.html"].clone()).expect("UTF-8");
    for part in [
        "default-src 'none'",
        "<h2 id=\"2026-W30.bsm-eggs\">",
        "Replaced by <a href=\"0003/alert.html\">alert 3</a>",
        "href=\"feed.xml\"",
    ] {
        assert!(page.contains(part), "{part}");
    }
    assert!(!page.contains("<script") && !page.contains("http://") && !page.contains("https://"));
    assert!(
        page.find("2026-W30") < page.find("2026-W29"),
        "the newest week comes first"
    );
}

#[test]
fn nothing_is_published_before_an_alert_is_issued_or_to_what_is_no_place() {
    let (workspace, _) = loaded();
    let run = publish(&workspace, &workspace.beside("public")).expect_code(1);
    assert!(run.stderr.contains("no alert is issued yet"), "{run:?}");
    assert!(!workspace.beside("public").exists());
    workspace
        .run(&["alert", "--week", "2026-W30", "--issue"])
        .expect_code(0);
    for place in [
        "ftp://example.org/x",
        "gs://bucket/x",
        "http://example.org/x",
        "memory:///x",
    ] {
        let run = workspace.run(&["publish", "--to", place]).expect_code(1);
        assert!(
            run.stderr.contains("only folders and s3:// are known")
                || run.stderr.contains("cannot publish"),
            "{run:?}"
        );
    }
    let place = format!("file://{}", shown(&workspace.beside("by address")));
    workspace.run(&["publish", "--to", &place]).expect_code(0);
    assert_eq!(folder_bytes(&workspace.beside("by address")).len(), 10);
    for wrong in ["example.org/", "https://example.org", "javascript:x/"] {
        let other = workspace.copied();
        other.change_setting("base_url = \"\"", &format!("base_url = \"{wrong}\""));
        let run = other.run(&["alert", "--list"]).expect_code(1);
        assert!(run.stderr.contains("is no address of a folder"), "{run:?}");
    }
}

// ---- the gate ----

/// Bends a file of an issued alert, and sees that publishing stops with this reason and writes nothing.
#[track_caller]
fn stops(issued: &TestWorkspace, name: &str, bend: impl FnOnce(String) -> String, reason: &str) {
    let workspace = issued.copied();
    let path = workspace.path().join("alerts/issued/0002").join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_default();
    let bent = bend(text.clone());
    assert!(bent != text, "nothing was bent");
    std::fs::write(&path, bent).expect("written");
    let place = workspace.beside("public");
    let run = publish(&workspace, &place).expect_code(1);
    assert!(
        run.stderr
            .contains("publishing stopped, nothing was written"),
        "{run:?}"
    );
    assert!(
        run.stderr.contains(&format!("0002/{name}")) && run.stderr.contains(reason),
        "{reason}: {run:?}"
    );
    assert!(!place.exists(), "something was written");
}

/// The map with one feature changed: that of this county.
fn with_feature(map: &str, county: &str, change: impl FnOnce(&mut Value)) -> String {
    let mut map: Value = serde_json::from_str(map).expect("GeoJSON");
    let features = map["features"].as_array_mut().expect("features");
    let feature = features
        .iter_mut()
        .find(|feature| feature["properties"]["county_id"] == county);
    change(feature.expect("a feature of the county"));
    map.to_string()
}

#[test]
fn every_way_to_give_a_farm_away_is_stopped_by_name() {
    let workspace = issued();
    let (csv, map) = ("county_week.csv", "county_week.geojson");
    // A column or property that is not public.
    stops(
        &workspace,
        csv,
        |text| text.replacen("county_id", "field_id", 1),
        "\"field_id\" is no public column",
    );
    stops(
        &workspace,
        map,
        |text| {
            with_feature(&text, "46013", |feature| {
                feature["properties"]["farms"] = json!(4)
            })
        },
        "\"farms\" is no public column",
    );
    stops(
        &workspace,
        map,
        |text| {
            with_feature(&text, "46099", |feature| {
                feature["properties"]["max_pressure"] = json!(1.5)
            })
        },
        "\"max_pressure\" is no public column",
    );
    // A private name, in any file.
    for name in [csv, map, "alert.html", "alert.md"] {
        let put = |text: String| match name {
            n if n == csv => text.replacen("Brown", "F-46013-2", 1),
            n if n == map => with_feature(&text, "46013", |feature| {
                feature["properties"]["county_name"] = json!("F-46013-2")
            }),
            _ => text + "\nwell seen in F-46013-2.",
        };
        stops(
            &workspace,
            name,
            put,
            "\"F-46013-2\", the id of a field, a farm, a scout or a visit",
        );
    }
    for id in ["farm-46013-2", "scout-46013-2", "visit-46013-2-2026-07-21"] {
        stops(&workspace, "alert.md", |text| text + id, id);
    }
    stops(
        &workspace,
        "alert.md",
        |text| text + "F\\-46013\\-2",
        "F-46013-2",
    );
    // A row of a county whose fields are withheld, and a figure of it on the map.
    let with_row = |county: &'static str| {
        move |text: String| {
            let row = text.lines().nth(1).expect("a row");
            let row = row.replacen("46013", county, 1);
            format!("{text}{row}\r\n")
        }
    };
    stops(
        &workspace,
        csv,
        with_row("46099"),
        "the row of 46099 is no public row",
    );
    stops(
        &workspace,
        map,
        |text| {
            with_feature(&text, "46099", |feature| {
                feature["properties"]["fields_visited"] = json!(2)
            })
        },
        "46099 has no figures, and its fields_visited is there",
    );
    stops(
        &workspace,
        map,
        |text| {
            with_feature(&text, "46099", |feature| {
                feature["properties"]["status"] = json!("some-at-threshold");
                feature["properties"]["fields_visited"] = json!(2);
            })
        },
        "the row of 46099 is no public row",
    );
    // A row elsewhere that nobody made public.
    let elsewhere = |text: String| {
        let cells = text.trim_end().split(',').map(|name| match name {
            "place" => "elsewhere in the region",
            "iso_week" => "2026-W30",
            "protocol" => "bsm-eggs",
            "fields_visited" => "2",
            _ => "",
        });
        let row = cells.collect::<Vec<_>>().join(",");
        format!("{text}{row}\r\n")
    };
    stops(
        &workspace,
        "elsewhere_week.csv",
        elsewhere,
        "the row of elsewhere in the region is no public row",
    );
    // Other figures of a county that is shown: one more than was issued, a count that was withheld, a later edition.
    for (name, value) in [
        ("edition", json!(2)),
        ("fields_visited", json!(5)),
        ("at_threshold_min", json!(2)),
        ("at_threshold_max", json!(3)),
        ("median_class", json!("0.5-1")),
        ("mean_pressure", json!(0.8)),
        ("level", json!("strict")),
        ("fields_with_assumed_economics", json!(1)),
        ("fields_outside_stage", json!(1)),
        ("treatment_first_week", json!("2026-W31")),
        ("treatment_last_week", json!("2026-W31")),
        ("window_basis", json!("both")),
    ] {
        stops(
            &workspace,
            map,
            |text| {
                with_feature(&text, "46013", |feature| {
                    feature["properties"][name] = value;
                })
            },
            "the row of 46013 is no public row",
        );
    }
    // A row under another protocol, and a figure of a scenario.
    stops(
        &workspace,
        csv,
        |text| text.replacen("bsm-eggs", "bsm-adults", 1),
        "a row is of the protocol Some(\"bsm-adults\"), and the alert is of \"bsm-eggs\"",
    );
    stops(
        &workspace,
        csv,
        |text| text.replacen("county_id", "scenario", 1),
        "it is of a scenario",
    );
    // A total beside its parts.
    stops(
        &workspace,
        csv,
        with_row("all"),
        "\"all\", which is no county",
    );
    // The point of a field, and points that are finer than the grid.
    let region = Region::built_in("us:46").expect("South Dakota");
    let field = visits(&region, "46013", 1, "2026-07-21", 1)[0]["field"].clone();
    let point = |lon: &Value, lat: &Value| json!({"type": "Point", "coordinates": [lon, lat]});
    stops(
        &workspace,
        map,
        |text| {
            with_feature(&text, "46013", |feature| {
                feature["geometry"] = point(&field["lon"], &field["lat"])
            })
        },
        "is the point of a field that was visited",
    );
    stops(
        &workspace,
        map,
        |text| {
            with_feature(&text, "46013", |feature| {
                feature["geometry"] = json!({"type": "MultiPoint", "coordinates": [[-99.0, 44.0], [-99.0, 44.08], [-98.0, 44.0]]});
            })
        },
        "are finer than the grid of 10 km",
    );
    // What is no public file, and what is not what was issued.
    stops(
        &workspace,
        "field_week.parquet",
        |_| "x".to_owned(),
        "it was not issued",
    );
    stops(
        &workspace,
        "alert.html",
        |text| text.replace("Alert 2", "Alert two"),
        "it is not what was issued",
    );
    // Points a grid width apart are no finer than the grid: what stops them then is that nobody issued them.
    stops(
        &workspace,
        map,
        |text| {
            with_feature(&text, "46013", |feature| {
                feature["geometry"] = json!({"type": "MultiPoint", "coordinates": [[-99.0, 44.0], [-99.0, 44.09], [-98.87, 44.0]]});
            })
        },
        "it is not what was issued",
    );
    publish(&workspace, &workspace.beside("public")).expect_code(0);
}

#[test]
fn a_note_that_names_a_field_is_not_issued() {
    let (workspace, _) = loaded();
    let note = workspace.write("note.md", "Look at F-46013-2, it is white with moths.");
    let run = workspace.run(&[
        "alert",
        "--week",
        "2026-W30",
        "--note",
        &shown(&note),
        "--issue",
    ]);
    let run = run.expect_code(1);
    assert!(
        run.stderr.contains("the note: it holds") && run.stderr.contains("F-46013-2"),
        "{run:?}"
    );
    let listed = workspace.run(&["alert", "--list"]).expect_code(0);
    assert_eq!(listed.stdout, "no alert is issued yet\n");
}

// ---- totals, and what all of it gives away ----

/// What is published does not depend on what is withheld: with more or fewer fields in a county with too few, more or
/// less pressure there, every public byte is the same but for times and versions.
#[test]
fn no_sum_on_any_page_or_table_rests_on_a_withheld_county() {
    let region = Region::built_in("us:46").expect("South Dakota");
    let published = |fields: usize, eggs: usize| {
        let workspace = TestWorkspace::of_region("us:46");
        let mut all = visits(&region, "46013", 4, "2026-07-21", 1);
        all.extend(visits(&region, "46015", 5, "2026-07-21", 0));
        all.extend(visits(&region, "46099", fields, "2026-07-21", eggs));
        workspace.load_text("visits.ndjson", &lines(&all));
        workspace
            .run(&["alert", "--week", "2026-W30", "--issue"])
            .expect_code(0);
        publish(&workspace, &workspace.beside("public")).expect_code(0);
        let out = workspace.beside("figures");
        workspace
            .run(&["rollup", "--out", &shown(&out)])
            .expect_code(0);
        let mut files = folder_bytes(&workspace.beside("public"));
        let tables = folder_bytes(&out.join("public")).into_iter();
        // Those of Parquet hold the same cells as those of CSV, and are read in tests/privacy.rs.
        files.extend(tables.filter(|(name, _)| !name.ends_with(".parquet")));
        let texts = files.into_iter().map(|(name, bytes)| {
            (
                name,
                without_times(&String::from_utf8(bytes).expect("UTF-8")),
            )
        });
        texts.collect::<BTreeMap<String, String>>()
    };
    let few = published(1, 0);
    assert!(
        few["0001/alert.md"].contains("scouts sampled 9 fields"),
        "{}",
        few["0001/alert.md"]
    );
    // Ten at the public place, and ten of the roll-up.
    assert!(
        few.contains_key("region_week.csv") && few.len() == 20,
        "{:?}",
        few.keys()
    );
    assert_eq!(few, published(2, 6));
    // With three fields there is a row more: the comparison sees what is shown.
    assert_ne!(few, published(3, 6));
}

/// Times of issuing and loading differ from run to run, and so do the names for ever.
fn without_times(text: &str) -> String {
    let told = regex::Regex::new(
        r"20\d\d-\d\d-\d\d[T ]\d\d:\d\d(:\d\d)?( UTC|Z|\+00:00)|urn:uuid:[0-9a-f-]+",
    );
    // E-mail lines are broken where the words end, times or not.
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    told.expect("a pattern")
        .replace_all(&text, "…")
        .into_owned()
}

/// Of all that a season has published, every sum is one of rows beside it, on pages, in tables and in the region's
/// tables: whoever has all of it has no equation more than the rows. What the rows themselves give away is attacked in
/// tests/disclosure.rs.
#[test]
fn every_sum_of_a_season_is_one_of_the_rows_beside_it() {
    let workspace = TestWorkspace::of_invented_region();
    workspace.load(&[Path::new("sample_data/submissions")]);
    let out = workspace.beside("figures");
    let roll_up = || {
        workspace
            .run(&["rollup", "--out", &shown(&out)])
            .expect_code(0);
    };
    roll_up();
    let private = std::fs::read(out.join("private/disclosure.csv")).expect("the private table");
    let outcomes = csv_rows(&private);
    let visited: BTreeSet<[&str; 2]> = outcomes
        .iter()
        .map(|row| ["iso_week", "protocol"].map(|name| row[name].as_str()))
        .collect();
    let weeks: BTreeSet<&str> = visited.iter().map(|[week, _]| *week).collect();
    assert!(weeks.len() >= 4, "{weeks:?}");
    let withheld = outcomes
        .iter()
        .filter(|row| row["public_place"] != row["county_id"]);
    assert!(
        withheld.count() >= 5,
        "too few counties are withheld to try it"
    );
    for [week, protocol] in &visited {
        workspace
            .run(&["alert", "--week", week, "--protocol", protocol, "--issue"])
            .expect_code(0);
    }
    let place = workspace.beside("public");
    publish(&workspace, &place).expect_code(0);
    roll_up();
    let season = folder_bytes(&out.join("public"));
    let region: BTreeMap<[String; 2], Row> = csv_rows(&season["region_week.csv"])
        .into_iter()
        .map(|row| (["iso_week", "protocol"].map(|name| row[name].clone()), row))
        .collect();
    let said = regex::Regex::new(
        r"scouts sampled (\d+) fields? at [^;]*; (none|\d+)(?: to (\d+))? of them",
    );
    let said = said.expect("a pattern");
    let files = folder_bytes(&place);
    let (mut pages, mut sums) = (0, 0);
    for (number, [week, protocol]) in visited.iter().enumerate() {
        let file = |name: &str| &files[&format!("{:04}/{name}", number + 1)];
        let counties = csv_rows(file("county_week.csv"));
        let elsewhere = csv_rows(file("elsewhere_week.csv"));
        for row in counties.iter().chain(&elsewhere) {
            let of = ["iso_week", "protocol"].map(|name| row[name].as_str());
            assert_eq!(of, [*week, *protocol]);
        }
        for county in counties.iter().map(|row| row["county_id"].as_str()) {
            let known = outcomes.iter().any(|row| row["county_id"] == county);
            assert!(known, "{county} is no county: is it a total?");
        }
        let sum = |rows: &[Row], name: &str| -> u64 {
            let counts = rows.iter().map(|row| row[name].parse::<u64>());
            counts.map(|count| count.expect("a count")).sum()
        };
        let names = ["fields_visited", "at_threshold_min", "at_threshold_max"];
        // The sentence of the page, in HTML and in Markdown, is about the counties shown.
        for text in ["alert.html", "alert.md"].map(file) {
            let text = String::from_utf8_lossy(text);
            let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
            let Some(found) = said.captures(&text) else {
                assert_eq!(sum(&counties, "fields_visited"), 0, "{text}");
                continue;
            };
            let least = if &found[2] == "none" { "0" } else { &found[2] };
            let most = found.get(3).map_or(least, |most| most.as_str());
            let printed =
                [&found[1], least, most].map(|count| count.parse::<u64>().expect("a count"));
            assert_eq!(printed, names.map(|name| sum(&counties, name)), "{week}");
            pages += 1;
        }
        // The region's own row is about these and the rows elsewhere.
        let key = [*week, *protocol].map(str::to_owned);
        let Some(row) = region.get(&key) else {
            assert!(counties.is_empty() && elsewhere.is_empty(), "{week}");
            continue;
        };
        for name in names {
            let all = sum(&counties, name) + sum(&elsewhere, name);
            assert_eq!(row[name], all.to_string(), "{name} of {week}");
        }
        sums += 1;
    }
    assert!(pages >= 6 && sums >= 3, "{pages} {sums}");
    assert_eq!(region.len(), sums);
}
