//! Command trend: what it says where there are too few seasons, that its public files are based on public rows alone, and
//! that nothing of what is withheld changes a byte of it.

use scouting::region::Region;
use serde_json::Value;

use crate::support::issuing::{COUNTIES, visits};
use crate::support::trend::{
    PRIVATE, SMALL_COUNTY, assert_same_but_for_the_notice, files_of, publish_all, rising,
    six_seasons, text, trend, weather, with_weather,
};
use crate::support::{lines, text_of};

/// The protocol of these visits.
const PROTOCOL: &str = "bsm-eggs";

const NEXT_DAYS: [&str; 2] = ["07-16", "07-23"];

/// More visits to a county whose weeks stay withheld, with ten times the eggs: not a byte changes. More fields give a
/// week a class of the median, and then bytes do.
#[test]
fn nothing_of_what_is_withheld_moves_a_byte() {
    let workspace = six_seasons();
    let (_, before) = trend(&workspace, "before");
    let region = Region::built_in("us:46").expect("South Dakota");
    let more: Vec<Value> = ["2025-07-15", "2025-07-16"]
        .into_iter()
        .flat_map(|day| visits(&region, SMALL_COUNTY, 2, day, 40))
        .filter(|visit| visit["visit_id"] != "visit-46099-0-2025-07-15")
        .collect();
    assert_eq!(more.len(), 3);
    let account = workspace.load_text("more.ndjson", &lines(&more));
    assert_eq!(account["accepted"], more.len(), "{account:#}");
    let (_, after) = trend(&workspace, "after");
    assert!(before == after, "what is withheld can be read");
    let public = |name: &str| files_of(&workspace, name, "public");
    assert!(public("before") == public("after"));

    let shown = visits(&region, SMALL_COUNTY, 5, "2025-07-17", 40);
    workspace.load_text("shown.ndjson", &lines(&shown));
    let (_, shown) = trend(&workspace, "shown");
    for name in [
        "county_season.csv",
        "season_week.csv",
        "trend.csv",
        "trend.html",
    ] {
        assert_ne!(before[name], shown[name], "{name}: nothing is proved");
    }
}

/// The alert says the same as the table, on the page and in the e-mail, and nothing of a county that is withheld.
#[test]
fn an_alert_says_where_its_week_stands_among_earlier_seasons() {
    let workspace = six_seasons();
    let alert = || {
        workspace
            .run(&["alert", "--week", "2026-W29"])
            .expect_code(0);
        let folder = workspace.path().join("alerts/2026-W29").join(PROTOCOL);
        ["alert.html", "alert.md"].map(|name| {
            let text = std::fs::read_to_string(folder.join(name)).expect("an alert");
            // An e-mail's lines are broken anywhere, and its marks escaped.
            let words: Vec<&str> = text.split_whitespace().collect();
            words.join(" ").replace('\\', "")
        })
    };
    // Earlier seasons that are not public are not compared with.
    for text in alert() {
        let said =
            "No comparison with earlier seasons in week 29 yet: 4 are needed, none is on file";
        assert!(text.contains(said), "{text}");
    }
    publish_all(&workspace, "package");
    // The counts rise from season to season, and every earlier one has the week.
    let said = "the highest of 6 seasons in week 29";
    for text in alert() {
        assert!(
            text.contains(said) && !text.contains("at the same heat"),
            "{text}"
        );
    }
    with_weather(&workspace, &weather(2021..=2026));
    let with_heat = alert();
    for text in &with_heat {
        assert!(text.contains(said), "{text}");
        // 2022 lacks days of May, and July of 2026 need not lie between the two weeks of each other season.
        assert!(
            text.contains("at the same heat, ") && text.contains("since January 1"),
            "{text}"
        );
    }
    // More eggs in a county that stays withheld change nothing but the store's version.
    let region = Region::built_in("us:46").expect("South Dakota");
    let more = visits(&region, SMALL_COUNTY, 2, "2025-07-16", 40);
    workspace.load_text("more.ndjson", &lines(&more));
    for (before, after) in with_heat.iter().zip(alert()) {
        let sentence = |text: &str| {
            let (_, rest) = text.split_once("Pressure (").expect("a sentence");
            rest.split_once("since January 1")
                .expect("its end")
                .0
                .to_owned()
        };
        assert_eq!(sentence(before), sentence(&after));
    }
}

#[test]
fn what_is_not_public_is_in_the_private_folder_alone() {
    let workspace = six_seasons();
    let (said, private) = trend(&workspace, "before");
    let rows = [&said["public_county_weeks"], &said["private_county_weeks"]];
    assert_eq!(rows, [0, 36]);
    let public = files_of(&workspace, "before", "public");
    assert!(public.keys().eq(private.keys()));
    for (name, bytes) in public.iter().filter(|(name, _)| name.ends_with(".csv")) {
        let lines = std::str::from_utf8(bytes).expect("UTF-8").lines().count();
        assert_eq!(lines, 1, "{name}: only what the columns are");
        assert!(text(&private, name).lines().count() > 1, "{name}");
    }
    for (name, says) in [
        (
            "trend.html",
            "No week has a county with a class of the median that is public.",
        ),
        ("TREND_COLUMNS.md", "# The columns of these files"),
    ] {
        let page = text(&public, name);
        assert!(page.contains(says) && !page.contains("rivate"), "{page}");
        assert!(text(&private, name).contains(PRIVATE), "{name}");
    }
    // A pest is named, as well as a program's word for it.
    assert!(text(&private, "trend.html").contains("<h2>Banded sunflower moth"));
    let out = workspace.beside("text");
    let run = workspace.run(&["trend", "--out", &text_of(&out)]);
    for says in [
        "0 county-weeks are public, 36 not public yet: the tables in the folder public are empty",
        "`bractline alert --week WEEK --issue`",
        "`bractline export --level public --out DIR`",
    ] {
        assert!(run.stdout.contains(says), "{run:#?}");
    }
    #[cfg(unix)]
    for (path, mode) in [("private", 0o700), ("private/trend.csv", 0o600)] {
        use std::os::unix::fs::PermissionsExt;
        let found = std::fs::metadata(out.join(path)).expect("it is written");
        assert_eq!(found.permissions().mode() & 0o777, mode, "{path}");
    }

    // Exported, all of it is public, and nothing is private any more.
    publish_all(&workspace, "package");
    let (said, after) = trend(&workspace, "after");
    let rows = [&said["public_county_weeks"], &said["private_county_weeks"]];
    assert_eq!(rows, [36, 0]);
    assert!(after == files_of(&workspace, "after", "public"));
    assert_same_but_for_the_notice(&private, &after);

    // A week that comes after is the office's until it is published.
    let region = Region::built_in("us:46").expect("South Dakota");
    let later = visits(&region, COUNTIES[0], 5, "2026-07-29", 9);
    workspace.load_text("later.ndjson", &lines(&later));
    let (said, later) = trend(&workspace, "later");
    let rows = [&said["public_county_weeks"], &said["private_county_weeks"]];
    assert_eq!(rows, [36, 1]);
    assert!(after == files_of(&workspace, "later", "public"));
    assert_ne!(after["season_week.csv"], later["season_week.csv"]);
    assert!(text(&later, "trend.html").contains(PRIVATE));
}

/// Every field of a season counted twice a week: the season is what it was.
#[test]
fn twice_the_visits_are_not_twice_the_pest() {
    let workspace = six_seasons();
    let (_, once) = trend(&workspace, "once");
    for county in COUNTIES {
        let again = rising(county, 5, NEXT_DAYS);
        workspace.load_text(&format!("again-{county}.ndjson"), &again);
    }
    let (_, twice) = trend(&workspace, "twice");
    assert!(once == twice);
}
