//! Totals: no sum is based on a withheld county, and every sum is one of its rows.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use bractline::gate::pdf_words::words_of_pdf;
use scouting::region::Region;

use crate::support::issuing::visits;
use crate::support::privacy::readable;
use crate::support::publishing::publish;
use crate::support::{Row, TestWorkspace, csv_rows, folder_bytes, lines, text_of};

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
            .run(&["rollup", "--out", &text_of(&out)])
            .expect_code(0);
        let mut files = folder_bytes(&workspace.beside("public"));
        let tables = folder_bytes(&out.join("public")).into_iter();
        // Those of Parquet hold the same cells as those of CSV, and are read in tests/privacy.
        files.extend(tables.filter(|(name, _)| !name.ends_with(".parquet")));
        let texts = files.into_iter().map(|(name, bytes)| {
            let text = readable(Path::new(&name), &bytes);
            // Of a PDF the words: what packs them packs the times with them.
            let text = match name.ends_with(".pdf") {
                true => words_of_pdf(&bytes).expect("a PDF"),
                false => text,
            };
            (name, without_times(&text))
        });
        texts.collect::<BTreeMap<String, String>>()
    };
    let few = published(1, 0);
    assert!(
        few["0001/alert.md"].contains("scouts sampled 9 fields"),
        "{}",
        few["0001/alert.md"]
    );
    // Thirty-four at the public place, and eleven of the roll-up.
    assert!(
        few.contains_key("region_week.csv") && few.len() == 45,
        "{:?}",
        few.keys()
    );
    assert_eq!(few, published(2, 6));
    // With three fields there is a row more: the comparison sees what is shown.
    assert_ne!(few, published(3, 6));
}

/// Times of issuing and loading differ from run to run, and so do the names for ever.
fn without_times(text: &str) -> String {
    let report = regex::Regex::new(
        r"[A-Z][a-z]+ \d{1,2}, \d{4}, \d{2}:\d{2} UTC|20\d\d-\d\d-\d\d[T ]\d\d:\d\d(:\d\d)?( UTC|Z|\+00:00)|urn:uuid:[0-9a-f-]+",
    );
    // E-mail lines are broken where the words end, times or not.
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    report
        .expect("a pattern")
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
            .run(&["rollup", "--out", &text_of(&out)])
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
