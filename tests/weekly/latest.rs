//! The addresses that stay: the newest alert of each pest, with every file that its folder has.

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::Value;

use crate::support::pests::{WEEK, weeks_of};
use crate::support::publishing::publish;
use crate::support::{TestWorkspace, folder_bytes};

const BOTH: [&str; 2] = ["bsm-eggs", "rssw"];

fn published(workspace: &TestWorkspace, place: &Path) -> BTreeMap<String, Vec<u8>> {
    publish(workspace, place).expect_code(0);
    folder_bytes(place)
}

#[test]
fn the_newest_alert_of_each_pest_has_an_address_that_stays() {
    let workspace = weeks_of(&BOTH);
    let place = workspace.beside("public");
    workspace
        .run(&["alert", "--week", "2026-W29", "--issue"])
        .expect_code(0);
    let first = published(&workspace, &place);
    assert!(first["latest/bsm-eggs/county_week.csv"] == first["0001/county_week.csv"]);
    workspace
        .run(&["alert", "--week", WEEK, "--issue", "--yes"])
        .expect_code(0);
    let public = published(&workspace, &place);
    for (pest, number) in [("bsm-eggs", "0002"), ("rssw", "0003")] {
        let names = |folder: &str| -> Vec<String> {
            let names = public.keys().filter_map(|name| name.strip_prefix(folder));
            names.map(str::to_owned).collect()
        };
        let copied = names(&format!("latest/{pest}/"));
        assert_eq!(copied, names(&format!("{number}/")));
        for name in copied {
            let [copy, own] = [format!("latest/{pest}/{name}"), format!("{number}/{name}")]
                .map(|name| &public[&name]);
            if name == "alert.html" {
                // One folder deeper, and else the same.
                let copy = String::from_utf8_lossy(copy).replace("href=\"../../", "href=\"../");
                assert_eq!(copy, String::from_utf8_lossy(own));
            } else {
                assert!(copy == own, "{name}");
            }
        }
    }
    let page = String::from_utf8_lossy(&public["latest/index.html"]).into_owned();
    for part in [
        "href=\"bsm-eggs/alert.html\"",
        "href=\"rssw/alert.html\"",
        "Based on 12 fields in 3 of 66 counties.",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let list: Value = serde_json::from_slice(&public["latest/latest.json"]).expect("JSON");
    let alerts = list["alerts"].as_array().expect("alerts");
    let numbers: Vec<&Value> = alerts.iter().map(|alert| &alert["number"]).collect();
    assert_eq!(numbers, [2, 3]);
    for file in alerts[0]["files"].as_array().expect("files") {
        assert!(
            public.contains_key(&format!("latest/{}", file.as_str().expect("a name"))),
            "{file}"
        );
    }
    assert!(
        list["caution"]
            .as_str()
            .is_some_and(|text| text.contains("label"))
    );

    // Its newest week withdrawn, a pest has the week before; without any week a stub.
    workspace
        .run(&["alert", "--withdraw", "2", "--reason", "other counts"])
        .expect_code(0);
    workspace
        .run(&["alert", "--withdraw", "3", "--reason", "no such weevil"])
        .expect_code(0);
    let public = published(&workspace, &place);
    assert!(public["latest/bsm-eggs/county_week.csv"] == first["0001/county_week.csv"]);
    let of_rssw: Vec<&str> = public
        .keys()
        .filter_map(|name| name.strip_prefix("latest/rssw/"))
        .collect();
    assert_eq!(of_rssw, ["alert.html"]);
    let stub = String::from_utf8_lossy(&public["latest/rssw/alert.html"]).into_owned();
    assert!(
        stub.contains("no such weevil") && stub.contains("href=\"../../index.html\""),
        "{stub}"
    );
    links_lead_somewhere(&public);
}

/// Every link of every page leads to a file that is there, and to an anchor that its page has.
fn links_lead_somewhere(public: &BTreeMap<String, Vec<u8>>) {
    let link = regex::Regex::new(r#"href="([^"]*)""#).expect("a pattern");
    let mut seen = 0;
    for (name, bytes) in public.iter().filter(|(name, _)| name.ends_with(".html")) {
        let page = String::from_utf8_lossy(bytes);
        for found in link.captures_iter(&page) {
            let (path, anchor) = found[1].split_once('#').unwrap_or((&found[1], ""));
            let mut way: Vec<&str> = name.split('/').collect();
            way.pop();
            for step in path.split('/') {
                match step {
                    ".." => {
                        assert!(way.pop().is_some(), "{name}: {}", &found[1]);
                    }
                    step => way.push(step),
                }
            }
            let target = match path.is_empty() {
                true => name.clone(),
                false => way.join("/"),
            };
            let text = public
                .get(&target)
                .unwrap_or_else(|| panic!("{name}: {} leads nowhere", &found[1]));
            let text = String::from_utf8_lossy(text);
            assert!(
                anchor.is_empty() || text.contains(&format!("id=\"{anchor}\"")),
                "{name}: no {}",
                &found[1]
            );
            seen += 1;
        }
    }
    assert!(seen > 40, "{seen} links");
}
