//! Count sheets: the same bytes each time, a box for every count, and what cannot be laid out is refused.

use std::io::Cursor;

use bractline::count_sheet::page::count_sheet_page;
use bractline::count_sheet::words::SheetOptions;
use bractline::count_sheet::workbook::count_sheet_xlsx;
use calamine::{Reader, SheetType, SheetVisible, Xlsx};
use intake::count_sheet::reading::count_sheet_records;
use scouting::visit::record::CountForm;

use crate::support::bractline;
use crate::support::sheet::{VISITS, bsm_eggs, options, protocols, sheets};

#[test]
fn the_same_sheet_has_the_same_bytes_and_a_hidden_tab_that_a_reader_sees() {
    let bytes =
        |options: &SheetOptions| count_sheet_xlsx(&bsm_eggs(), options).expect("a workbook");
    assert!(bytes(&options()) == bytes(&options()));
    let more = SheetOptions {
        visits: VISITS + 1,
        ..options()
    };
    assert!(bytes(&options()) != bytes(&more));
    let workbook = Xlsx::new(Cursor::new(bytes(&options()))).expect("a workbook");
    let mark = workbook.sheets_metadata().last().expect("a tab");
    assert_eq!(mark.name, "bractline");
    assert_eq!(
        (mark.typ, mark.visible),
        (SheetType::WorkSheet, SheetVisible::Hidden)
    );
}

#[test]
fn the_page_has_a_box_for_every_count_and_a_page_for_every_visit() {
    for (protocol, boxes) in protocols().into_iter().zip([4 * 5 * 7, 2 * 12, 2 * 2]) {
        let page = count_sheet_page(&protocol, &options()).expect("a page");
        assert_eq!(page.matches("<section class=\"visit\"").count(), VISITS);
        let counts = page.matches("<td>").count();
        assert_eq!(counts, VISITS * boxes, "{}", protocol.id);
        assert!(!page.contains("<b>only</b>"), "{}", protocol.id);
        // A scout is asked for neither the currency nor the revision.
        assert!(!page.contains(">Currency") && !page.contains(">Revision"));
        let sums = match protocol.sample.form {
            CountForm::Traps => 0,
            CountForm::Heads | CountForm::Plants => VISITS,
        };
        assert_eq!(page.matches("Threshold of this field").count(), sums);
        for words in [
            "Use ID codes, not names",
            "The label is the law",
            "0 means looked and found none",
        ] {
            assert!(page.contains(words), "{}: {words}", protocol.id);
        }
        assert!(!page.contains("http:") && !page.contains("https:") && !page.contains("<script"));
    }
}

#[test]
fn a_page_of_totals_has_one_box_a_head() {
    let totals = SheetOptions {
        totals_only: true,
        ..options()
    };
    let page = count_sheet_page(&bsm_eggs(), &totals).expect("a page");
    let boxes = page.matches("<td><small>").count();
    assert_eq!(boxes, VISITS * 4 * 5);
    assert!(page.contains("Total of the 6 bracts for each head"));
    assert!(page.contains("one total for the head."));
    let [_, plants, _] = protocols();
    for refused in [
        count_sheet_page(&plants, &totals).map(|_| ()),
        count_sheet_xlsx(&plants, &totals).map(|_| ()),
    ] {
        let failure = refused.expect_err("no bracts").to_string();
        assert!(failure.contains("--totals"), "{failure}");
    }
}

#[test]
fn a_sheet_that_nobody_could_fill_is_refused() {
    for (visits, sites) in [
        (0, None),
        (1, Some(0)),
        (100_000, None),
        (usize::MAX, Some(2)),
    ] {
        let options = SheetOptions {
            visits,
            sites,
            ..options()
        };
        count_sheet_xlsx(&bsm_eggs(), &options).expect_err("too few or too many");
        count_sheet_page(&bsm_eggs(), &options).expect_err("too few or too many");
    }
}

#[test]
fn the_command_writes_both_sheets_without_a_workspace_and_names_them() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().join("sheets");
    let out = out.to_str().expect("UTF-8");
    let run = bractline(&[
        "sheet",
        "--protocol",
        "bsm-eggs",
        "--out",
        out,
        "--visits",
        "2",
        "--season",
        "2026",
    ]);
    let run = run.expect_code(0);
    let paths: Vec<&str> = run.stdout.lines().collect();
    let names = ["count-sheet-bsm-eggs.xlsx", "count-sheet-bsm-eggs.html"];
    assert_eq!(paths, names.map(|name| format!("{out}/{name}")));
    let sheets = sheets(&std::fs::read(paths[0]).expect("the workbook"));
    assert!(count_sheet_records(&sheets, names[0]).is_some());
    let page = std::fs::read_to_string(paths[1]).expect("the page");
    assert!(page.contains("6/1/2026 to 9/30/2026"));

    let run = bractline(&["sheet", "--protocol", "no-such", "--out", out]).expect_code(1);
    assert!(run.stderr.contains("bsm-eggs"), "{}", run.stderr);
}
