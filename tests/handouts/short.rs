//! The text of at most 300 letters.

use bractline::alert::bulletin::{Bulletin, ProtocolFacts};
use disclosure::public_row::PublicRow;
use disclosure::rule::Level;

use super::{files_of, sixty_six, text};
use crate::support::publish::{bulletin, protocol};
use crate::support::week_rows::{NAMES, elsewhere, other_stage, region, region_named, shown, week};

pub fn short(bulletin: &Bulletin) -> String {
    let text = text(&files_of(bulletin), "short.txt");
    let line = text.strip_suffix('\n').expect("a line end");
    assert!(!line.contains('\n'));
    assert!(
        line.chars().count() <= 300,
        "{}: {line}",
        line.chars().count()
    );
    let caution = "No treatment recommendation: scout your own field; label, local law, bees and licensed advice come first.";
    assert!(line.contains(caution), "{line}");
    line.to_owned()
}

#[test]
fn the_short_text_says_pest_week_finding_certainty_and_link() {
    let (region, rows, facts) = (region(), week(), protocol());
    let mut of_office = bulletin(&region, &rows, None, &facts);
    let said = short(&of_office);
    for part in [
        "INVENTED DATA. Banded sunflower moth, week ending Jul 26, 2026: ",
        "fields at threshold in 7 of 11 counties reported",
        "Preliminary: 85 fields, not a random sample.",
    ] {
        assert!(said.contains(part), "{part}: {said}");
    }
    of_office.public_folder = Some("https://example.org/a/0003/");
    let said = short(&of_office);
    assert!(
        said.ends_with(" https://example.org/a/0003/alert.html"),
        "{said}"
    );
    // An address that has no room is left out whole.
    let long = format!("https://example.org/{}/", "a".repeat(300));
    of_office.public_folder = Some(&long);
    assert!(!short(&of_office).contains("http"));
}

#[test]
fn the_short_text_is_short_whatever_the_week_and_the_names() {
    let facts = protocol();
    let strict = |mut row: PublicRow| {
        row.level = Level::Strict;
        row
    };
    let rows_of = [
        (vec![], "no county has enough fields to report"),
        (
            vec![other_stage(0, 3)],
            "all fields at another crop stage, not counted",
        ),
        (
            vec![elsewhere(shown(0, 6, 4, 1.2, 2.0))],
            "fields at threshold among 6 in counties with too few",
        ),
        (
            vec![shown(0, 5, 0, 0.0, 0.0)],
            "nothing found in the 1 county reported",
        ),
        (
            vec![shown(0, 5, 0, 0.1, 0.3)],
            "no field at threshold in the 1 county reported",
        ),
        (
            vec![
                strict(shown(0, 5, 2, 0.6, 1.2)),
                strict(shown(1, 5, 0, 0.1, 0.2)),
            ],
            "in 1 of 2 counties reported (Alder 2 of 5)",
        ),
    ];
    for (rows, says) in rows_of {
        let said = short(&bulletin(&region(), &rows, None, &facts));
        assert!(said.contains(says), "{says}: {said}");
    }
    // Every list of counties is whole, or says how many more there are.
    let (region, rows) = sixty_six();
    let said = short(&bulletin(&region, &rows, None, &facts));
    assert!(
        said.contains("more counties)") || !said.contains('('),
        "{said}"
    );
    // Long names, and a pest of many words.
    let long: Vec<String> = NAMES.iter().map(|name| name.repeat(30)).collect();
    let names: Vec<&str> = long.iter().map(String::as_str).collect();
    let wordy = ProtocolFacts {
        title:
            "A weevil of a very long name that nobody can remember or wants to type on a telephone"
                .to_owned(),
        ..protocol()
    };
    let said = short(&bulletin(&region_named(&names), &week(), None, &wordy));
    assert!(
        said.contains("A weevil of a very long name that nobody can remember or...,")
            && !said.contains("Alder"),
        "{said}"
    );
}
