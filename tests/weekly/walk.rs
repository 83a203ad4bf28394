//! The walk of a week: from files of visits to three published alerts with three commands. How long it takes is measured
//! and said (`-- --nocapture`), and not held against the machine.

use std::time::Instant;

use scouting::region::Region;

use crate::support::pests::{DAY, PESTS, of_pest};
use crate::support::{TestWorkspace, folder_bytes, lines, text_of};

#[test]
fn from_files_in_the_mail_to_three_published_alerts_take_three_commands() {
    let workspace = TestWorkspace::of_region("us:46");
    let region = Region::built_in("us:46").expect("South Dakota");
    let mail = workspace.beside("mail");
    std::fs::create_dir(&mail).expect("a folder");
    let mut visits = 0;
    for pest in PESTS {
        let counties = region.counties().iter();
        let all: Vec<_> = counties
            .flat_map(|county| of_pest(&region, pest, &county.id, 4, DAY))
            .collect();
        visits += all.len();
        std::fs::write(mail.join(format!("{pest}.ndjson")), lines(&all)).expect("written");
    }
    let (mail, place) = (text_of(&mail), workspace.beside("www"));
    let begun = Instant::now();
    for command in [
        &["load", &mail][..],
        &["alert", "--issue", "--yes"],
        &["publish", "--to", &text_of(&place)],
    ] {
        let start = Instant::now();
        workspace.run(command).expect_code(0);
        println!("{}: {:.1} s", command[0], start.elapsed().as_secs_f64());
    }
    println!(
        "three commands, {visits} visits, {} counties: {:.1} s",
        region.counties().len(),
        begun.elapsed().as_secs_f64()
    );
    let public = folder_bytes(&place);
    for (number, pest) in (1..).zip(PESTS) {
        let table =
            String::from_utf8_lossy(&public[&format!("{number:04}/county_week.csv")]).into_owned();
        let rows = table.lines().filter(|line| line.contains(pest)).count();
        assert_eq!(rows, region.counties().len(), "{pest}");
        assert!(
            public.contains_key(&format!("latest/{pest}/alert.html")),
            "{pest}"
        );
    }
    let week = String::from_utf8_lossy(&public["week/2026-W30/index.html"]).into_owned();
    assert_eq!(week.matches("of 66 counties.").count(), 3, "{week}");
}
