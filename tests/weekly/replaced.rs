//! An alert in the place of another: an update for late reports, a correction for what was wrong; and what the page that is
//! replaced says at the public place.

use std::path::Path;

use scouting::region::Region;
use serde_json::Value;

use crate::support::pests::{DAY, WEEK, load, of_pest, weeks_of};
use crate::support::publishing::publish;
use crate::support::{TestWorkspace, folder_bytes};

const PEST: [&str; 1] = ["bsm-eggs"];
const REASON: &str = "one county counted adults as eggs";

/// Alert 1 of a week, an update of it after late reports, and a correction of the update.
fn replaced_twice(place: &Path, workspace: &TestWorkspace) {
    let issue = ["alert", "--week", WEEK, "--issue"];
    workspace.run(&issue).expect_code(0);
    publish(workspace, place).expect_code(0);
    let region = Region::built_in("us:46").expect("South Dakota");
    load(
        workspace,
        "late.ndjson",
        &of_pest(&region, "bsm-eggs", "46099", 4, DAY),
    );
    workspace.run(&["alert", "--reissue", "1"]).expect_code(0);
    publish(workspace, place).expect_code(0);
    workspace
        .run(&["alert", "--correct", "2", "--reason", REASON])
        .expect_code(0);
}

fn words(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes).into_owned();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn an_update_and_a_correction_say_which_they_are_everywhere() {
    let workspace = weeks_of(&PEST);
    let place = workspace.beside("public");
    replaced_twice(&place, &workspace);
    let issued = folder_bytes(&workspace.path().join("alerts/issued"));
    let update = words(&issued["0002/alert.html"]);
    let correction = words(&issued["0003/alert.html"]);
    let late = "It includes reports received or corrected since.";
    for (text, says) in [
        (
            &update,
            format!(
                "<strong>Update.</strong> {late} It replaces <a href=\"../0001/alert.html\">alert 1</a>"
            ),
        ),
        (
            &correction,
            format!(
                "<strong>Correction.</strong> {REASON}. It replaces <a href=\"../0002/alert.html\">alert 2</a>"
            ),
        ),
        (
            &words(&issued["0002/alert.md"]),
            format!("**Update.** {late} It replaces alert 1."),
        ),
        (
            &words(&issued["0003/alert.md"]),
            format!("**Correction.** {REASON}. It replaces alert 2."),
        ),
    ] {
        assert!(text.contains(&says), "{says}: {text}");
    }
    // What changed is below the map and the table.
    for page in [&update, &correction] {
        let at = |piece: &str| {
            page.find(piece)
                .unwrap_or_else(|| panic!("{piece}: {page}"))
        };
        assert!(at("<svg class=\"map\"") < at("<h2 id=\"changes\">"));
        assert!(at("<table class=\"counties\">") < at("<h2 id=\"changes\">"));
    }
    let listed = workspace
        .run(&["alert", "--list", "--format", "json"])
        .json();
    let change = |number: usize| {
        let alert = &listed["alerts"][number];
        [&alert["change"], &alert["change_reason"]]
    };
    assert_eq!(change(0), [&Value::Null; 2]);
    assert_eq!(change(1), [&"update".into(), &Value::Null]);
    assert_eq!(change(2), [&Value::from("correction"), &REASON.into()]);
    let text = workspace.run(&["alert", "--list"]).stdout;
    for part in [
        ", an update of alert 1",
        &format!(", a correction of alert 2 ({REASON})"),
    ] {
        assert!(text.contains(part), "{part}: {text}");
    }
    publish(&workspace, &place).expect_code(0);
    let public = folder_bytes(&place);
    let list = words(&public["index.html"]);
    let feed = words(&public["feed.xml"]);
    for (text, says) in [
        (&list, format!("a correction of alert 2: {REASON}")),
        (&list, "an update of alert 1".to_owned()),
        (&list, "<h2>Banded sunflower moth, eggs on bracts</h2> <h3>Season 2026</h3> <h4 id=\"2026-W30.bsm-eggs\">".to_owned()),
        (&feed, format!("Correction of alert 2: {REASON}. Banded sunflower moth")),
        (&feed, "Update of alert 1. Banded sunflower moth".to_owned()),
        (&feed, "<title>Correction: Banded sunflower moth, eggs on bracts, ".to_owned()),
        (&feed, "<title>[replaced by alert 2] Banded sunflower moth, eggs on bracts, ".to_owned()),
    ] {
        assert!(text.contains(&says), "{says}: {text}");
    }
    for page in [
        "0003/alert.html",
        "week/2026-W30/index.html",
        "latest/index.html",
        "index.html",
    ] {
        let page = words(&public[page]);
        assert!(
            page.contains("<link rel=\"alternate\" type=\"application/atom+xml\" href="),
            "{page}"
        );
    }
    for number in ["1", "2", "3"] {
        workspace
            .run(&["alert", "--as-issued", number])
            .expect_code(0);
    }
    // The reason is judged as a note is.
    let run = workspace.run(&[
        "alert",
        "--correct",
        "3",
        "--reason",
        "F-46013-2-bsm-eggs was counted twice",
    ]);
    assert!(run.expect_code(1).stderr.contains("F-46013-2-bsm-eggs"));
    let run = workspace
        .run(&["alert", "--correct", "3", "--reason", " "])
        .expect_code(1);
    assert!(run.stderr.contains("the reason is empty"), "{run:#?}");
}

#[test]
fn a_replaced_page_leads_to_the_newest_and_is_what_was_issued_but_for_that() {
    let workspace = weeks_of(&PEST);
    let place = workspace.beside("public");
    replaced_twice(&place, &workspace);
    let issued = folder_bytes(&workspace.path().join("alerts/issued"));
    let page = |number: u32| format!("{number:04}/alert.html");
    let banner = |number: u32| {
        let bytes = std::fs::read(place.join(page(number))).expect("a page");
        let text = String::from_utf8(bytes).expect("UTF-8");
        match text.split_once("<!--newer-->") {
            None => (text, String::new()),
            Some((before, rest)) => {
                let (banner, after) = rest.split_once("<!--/newer-->").expect("its end");
                (format!("{before}{after}"), banner.to_owned())
            }
        }
    };
    let expect = |to: [Option<u32>; 3]| {
        for (number, newer) in (1..).zip(to) {
            let (rest, banner) = banner(number);
            assert!(rest.as_bytes() == issued[&page(number)], "alert {number}");
            match newer {
                None => assert_eq!(banner, "", "alert {number}"),
                Some(newer) => {
                    let link = format!(
                        "There is a newer alert of this week: <a href=\"../{newer:04}/alert.html\">alert {newer}</a>"
                    );
                    assert!(banner.contains(&link), "alert {number}: {banner}");
                }
            }
        }
    };
    let published = publish(&workspace, &place).expect_code(0).json();
    expect([Some(3), Some(3), None]);
    let written = published["written"].as_array().expect("names");
    for name in [page(1), page(2), page(3)] {
        assert!(
            written.contains(&name.as_str().into()),
            "{name}: {written:?}"
        );
    }
    let again = publish(&workspace, &place).expect_code(0).json();
    assert_eq!(again["written"], Value::Array(Vec::new()));
    // What else was changed in such a page is found, and left as it is.
    let changed = place.join(page(1));
    let bent = std::fs::read_to_string(&changed)
        .expect("a page")
        .replace("counties", "places");
    std::fs::write(&changed, &bent).expect("written");
    let run = publish(&workspace, &place).expect_code(1);
    assert!(
        run.stderr
            .contains("0001/alert.html is there already, with another content than was issued"),
        "{run:#?}"
    );
    assert_eq!(std::fs::read_to_string(&changed).expect("a page"), bent);
    std::fs::remove_file(&changed).expect("removed");
    publish(&workspace, &place).expect_code(0);
    expect([Some(3), Some(3), None]);

    // The newest is withdrawn: the others say so, and the stub is where the links lead.
    workspace
        .run(&[
            "alert",
            "--withdraw",
            "3",
            "--reason",
            "counts of <b> another week",
        ])
        .expect_code(0);
    publish(&workspace, &place).expect_code(0);
    let (rest, said) = banner(2);
    assert!(rest.as_bytes() == issued[&page(2)]);
    assert!(
        said.contains("alert 3</a>, which was withdrawn: counts of &#60;b&#62; another week"),
        "{said}"
    );
    // Issued again, the week has a newer one.
    workspace
        .run(&["alert", "--week", WEEK, "--issue"])
        .expect_code(0);
    publish(&workspace, &place).expect_code(0);
    let (_, said) = banner(1);
    assert!(said.contains("../0004/alert.html"), "{said}");
    let stub = std::fs::read_to_string(place.join(page(3))).expect("the stub");
    assert!(
        stub.contains("<a href=\"../0004/alert.html\">alert 4</a>"),
        "{stub}"
    );
}
