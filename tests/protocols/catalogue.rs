//! The built-in catalogue: kinds of count, layouts, crops, its pages and its check.

use std::time::Instant;

use scouting::protocol::catalogue::Catalogue;

use super::{built_in, with_expression};
use crate::support::snapshots::assert_text;
use crate::support::{TestWorkspace, bractline};

#[test]
fn the_built_in_catalogue_has_every_kind_of_count_layout_and_crop() {
    let catalogue = Catalogue::read(None, store::stages::expression::plan).expect("the catalog");
    let ids: Vec<&str> = catalogue.protocols().map(|one| one.id.as_str()).collect();
    assert_eq!(
        ids,
        [
            "bertha-armyworm-traps",
            "bsm-adults",
            "bsm-eggs",
            "lygus-confection",
            "rssw",
            "stem-weevil",
            "sunflower-beetle",
            "sunflower-moth-adults",
            "sunflower-moth-traps",
            "wbc-egg-masses",
            "wbc-sweet-corn",
        ]
    );
    for protocol in catalogue.protocols() {
        let text = built_in(&protocol.id);
        // A figure of an extension page is common practice here.
        for word in ["extension", "Extension", "http", "www."] {
            assert!(!text.contains(word), "{}: {word}", protocol.id);
        }
    }
}

#[test]
fn reading_the_catalogue_takes_no_time_that_a_person_notices() {
    // The first reading starts the engine; the program pays for both once a run. The bound is far above what was
    // measured, so that a busy machine does not break it.
    let begin = Instant::now();
    let catalogue = Catalogue::read(None, store::stages::expression::plan).expect("the catalog");
    let first = begin.elapsed();
    let begin = Instant::now();
    let again = Catalogue::read(None, store::stages::expression::plan).expect("the catalog");
    let second = begin.elapsed();
    println!("first reading {first:?}, second {second:?}");
    assert_eq!(catalogue.ids(), again.ids());
    assert!(second.as_millis() < 1_000, "{second:?}");
}

#[test]
fn a_page_of_a_protocol_holds_its_sources_its_example_and_every_caution() {
    let catalogue = Catalogue::read(None, store::stages::expression::plan).expect("the catalog");
    for protocol in catalogue.protocols() {
        let page = bractline(&["protocols", "show", &protocol.id])
            .expect_code(0)
            .stdout;
        let words = page.split_whitespace().collect::<Vec<_>>().join(" ");
        let one_line = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        let mut texts = vec![
            &protocol.title,
            &protocol.pest,
            &protocol.sample.plan,
            &protocol.sample.source,
            &protocol.stages.source,
            &protocol.threshold.formula,
            &protocol.threshold.source,
            &protocol.timing.treat,
            &protocol.timing.source,
        ];
        texts.extend(
            protocol
                .cautions
                .iter()
                .flat_map(|caution| [&caution.text, &caution.source]),
        );
        for text in texts {
            assert!(
                words.contains(&one_line(text)),
                "{}: {text}\n{page}",
                protocol.id
            );
        }
        for piece in [
            "The label is the law",
            "Scout your own field",
            "bees",
            "example",
            " → ",
        ] {
            assert!(words.contains(piece), "{}: {piece}\n{page}", protocol.id);
        }
        let widest = page
            .lines()
            .map(|line| line.chars().count())
            .max()
            .unwrap_or(0);
        assert!(widest <= 92, "{}: {widest} columns\n{page}", protocol.id);
        let json = bractline(&["protocols", "show", &protocol.id, "--format", "json"])
            .expect_code(0)
            .json();
        assert_eq!(json["protocol"]["id"], protocol.id.as_str());
        assert_eq!(json["protocol"]["title"], protocol.title.as_str());
    }
    let eggs = bractline(&["protocols", "show", "bsm-eggs"])
        .expect_code(0)
        .stdout;
    assert!(eggs.contains("3.205"), "{eggs}");
    assert_text("protocol-bsm-eggs", &eggs);
}

#[test]
fn the_list_fits_a_terminal_and_names_every_protocol_once() {
    let list = bractline(&["protocols", "list"]).expect_code(0).stdout;
    let catalogue = Catalogue::read(None, store::stages::expression::plan).expect("the catalog");
    for protocol in catalogue.protocols() {
        let line = format!("{} ", protocol.id);
        let lines = list.lines().filter(|one| one.starts_with(&line));
        assert_eq!(lines.count(), 1, "{list}");
    }
    assert!(
        list.lines().all(|line| line.chars().count() <= 100),
        "{list}"
    );
}

#[test]
fn protocols_check_fails_where_a_worked_value_differs_from_its_source() {
    let good = bractline(&["protocols", "check", "--format", "json"])
        .expect_code(0)
        .json();
    let values = good["worked_values"].as_array().expect("values");
    assert!(
        values.len() >= 20 && values.iter().all(|value| value["agrees"] == true),
        "{good:#}"
    );
    let workspace = TestWorkspace::of_region("us:46");
    let own = workspace.path().join("protocols");
    std::fs::create_dir_all(&own).expect("a folder");
    std::fs::write(own.join("own.toml"), with_expression("1.0 / 4.0")).expect("a file");
    let run = workspace.run(&["protocols", "check"]).expect_code(1);
    assert!(run.stdout.contains("DIFFERS own: 0.25"), "{}", run.stdout);
    assert!(
        run.stderr.contains("1 worked values differ"),
        "{}",
        run.stderr
    );
}
