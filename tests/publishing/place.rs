//! What gets to a public place, and what does not.

use serde_json::{Value, json};

use crate::support::issuing::loaded;
use crate::support::publishing::{issued, publish};
use crate::support::{folder_bytes, text_of};

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
    // Seven of each alert and of the newest, two next to them, a page of each of two weeks, and two of the newest.
    assert_eq!(names.len(), 4 * 7 + 2 + 2 + 2);
    for week in ["week/2026-W29/index.html", "week/2026-W30/index.html"] {
        assert!(names.contains(&week), "{week}");
    }
    for number in ["0001", "0002", "0003"] {
        let issued = folder_bytes(&workspace.path().join("alerts/issued").join(number));
        for (name, bytes) in issued {
            // The page of the alert that was replaced has a banner: see `weekly::replaced`.
            let is_same = files[&format!("{number}/{name}")] == bytes;
            assert_eq!(
                is_same,
                (number, &*name) != ("0001", "alert.html"),
                "{number}/{name}"
            );
        }
    }

    let second = publish(&workspace, &place).expect_code(0).json();
    assert_eq!(
        (&second["written"], &second["unchanged"]),
        (&json!([]), &json!(34))
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
        "<h4 id=\"2026-W30.bsm-eggs\">",
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
    let place = format!("file://{}", text_of(&workspace.beside("by address")));
    workspace.run(&["publish", "--to", &place]).expect_code(0);
    assert_eq!(folder_bytes(&workspace.beside("by address")).len(), 19);
    for wrong in ["example.org/", "https://example.org", "javascript:x/"] {
        let other = workspace.copied();
        other.change_setting("base_url = \"\"", &format!("base_url = \"{wrong}\""));
        let run = other.run(&["alert", "--list"]).expect_code(1);
        assert!(run.stderr.contains("is no address of a folder"), "{run:?}");
    }
}
