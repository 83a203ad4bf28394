//! Count sheets as they come back from people: headings, units, rows and tabs changed; read right, or held with the cell.

use bractline::count_sheet::words::SheetOptions;
use bractline::count_sheet::workbook::count_sheet_xlsx;
use bractline::shared::shown_numbers::Units;
use intake::count_sheet::reading::count_sheet_records;
use intake::sheet::table::{Cell, Sheet, TableRecord};
use jiff::civil::date;
use serde_json::{Value, json};

use crate::support::sheet::{bsm_eggs, options, sheets};

/// A filled workbook as a person changes it.
#[derive(Clone)]
struct Book(Vec<Sheet>);

impl Book {
    /// One visit of two sites with five heads each, of which two are filled at each site.
    fn filled() -> Book {
        let wanted = SheetOptions {
            visits: 2,
            sites: Some(2),
            ..options()
        };
        let workbook = count_sheet_xlsx(&bsm_eggs(), &wanted).expect("a workbook");
        let mut book = Book(sheets(&workbook));
        let number = |number: f64| Cell::Number(number);
        let text = |text: &str| Cell::Text(text.to_owned());
        for (heading, cell) in [
            ("Day", Cell::Date(date(2026, 7, 21))),
            ("Scout", text("obs-1")),
            ("Field", text("F-1")),
            ("Longitude", number(-100.1)),
            ("Latitude", number(44.1)),
            ("Area", number(100.0)),
            ("Area in", text("acre")),
            ("Crop type", text("oilseed")),
            ("Crop stage", text("R3")),
            ("Treatment cost", number(8.0)),
            ("Cost per", text("acre")),
            ("Currency", text("USD")),
            ("Market value", number(16.0)),
            ("Value per", text("cwt")),
            ("Plants", number(20_000.0)),
            ("Plants per", text("ac")),
        ] {
            book = book.put("Visits", heading, 1, cell);
        }
        for (row, head) in [(1, 0), (2, 1), (6, 2), (7, 3)] {
            for bract in 1..=6 {
                let count = f64::from((head + bract) % 3);
                book = book.put("Counts", &format!("Bract {bract}"), row, number(count));
            }
        }
        book
    }

    fn tab(&mut self, name: &str) -> &mut Sheet {
        let tab = self.0.iter_mut().find(|tab| tab.name == name);
        tab.unwrap_or_else(|| panic!("no tab {name}"))
    }

    fn at(&mut self, tab: &str, heading: &str) -> usize {
        let is = |cell: &Cell| matches!(cell, Cell::Text(text) if text.split('\n').next() == Some(heading));
        let place = self.tab(tab).rows[0].cells.iter().position(is);
        place.unwrap_or_else(|| panic!("no heading {heading}"))
    }

    /// Puts a cell under a heading, in a row counted from the headings.
    fn put(mut self, tab: &str, heading: &str, row: usize, cell: Cell) -> Book {
        let at = self.at(tab, heading);
        let cells = &mut self.tab(tab).rows[row].cells;
        cells.resize(cells.len().max(at + 1), Cell::Empty);
        cells[at] = cell;
        self
    }

    fn headed(self, tab: &str, heading: &str, words: &str) -> Book {
        self.put(tab, heading, 0, Cell::Text(words.to_owned()))
    }

    fn without_column(mut self, tab: &str, heading: &str) -> Book {
        let at = self.at(tab, heading);
        for row in &mut self.tab(tab).rows {
            if at < row.cells.len() {
                row.cells.remove(at);
            }
        }
        self
    }

    /// With a total for the head of a row of Counts, and its bracts or not.
    fn totaled(mut self, row: usize, total: f64, keeps_bracts: bool) -> Book {
        self = self.put("Counts", "Total", row, Cell::Number(total));
        for bract in (1..=6).filter(|_| !keeps_bracts) {
            self = self.put("Counts", &format!("Bract {bract}"), row, Cell::Empty);
        }
        self
    }

    fn without_rows(mut self, rows: &[usize]) -> Book {
        let mut place = 0;
        self.tab("Counts").rows.retain(|_| {
            place += 1;
            !rows.contains(&(place - 1))
        });
        self
    }

    #[track_caller]
    fn record(&self) -> TableRecord {
        let records = count_sheet_records(&self.0, "sheet.xlsx").expect("a count sheet");
        let mut records = records.expect("with its tabs and headings");
        assert_eq!(records.len(), 1, "{records:#?}");
        records.remove(0)
    }

    #[track_caller]
    fn visit(&self) -> Value {
        let document = self.record().document;
        document.unwrap_or_else(|findings| panic!("{findings:#?}"))
    }

    /// Code and place of what is wrong.
    #[track_caller]
    fn findings(&self) -> Vec<String> {
        let findings = self.record().document.expect_err("findings");
        let said = findings
            .iter()
            .map(|finding| format!("{} {}", finding.code, finding.found));
        said.collect()
    }
}

#[test]
fn a_filled_sheet_is_read_in_the_units_that_its_scout_chose() {
    let visit = Book::filled().visit();
    let area = visit["field"]["area_ha"].as_f64().expect("a number");
    assert!((area - 40.468_564_224).abs() < 1e-9, "{area}");
    let economics = &visit["economics"];
    assert_eq!(
        economics["market_value"],
        json!({"amount": 0.16, "per": "lb", "currency": "USD"})
    );
    assert_eq!(
        economics["plant_population"],
        json!({"count": 20000, "per": "acre"})
    );
    assert_eq!(visit["sites"][0]["heads"].as_array().map(Vec::len), Some(2));
}

#[test]
fn a_heading_whose_unit_was_changed_is_read_by_it_or_holds_the_visit_with_its_cell() {
    let acres = Book::filled().headed("Visits", "Area", "Area\n(acres)");
    let acres_alone = acres.clone().without_column("Visits", "Area in");
    let in_the_cell = Book::filled().put("Visits", "Area", 1, Cell::Text("100 ac".to_owned()));
    for book in [acres, acres_alone, in_the_cell] {
        assert_eq!(book.visit()["field"], Book::filled().visit()["field"]);
    }
    let earlier = Book::filled()
        .headed("Visits", "Area", "Area\n(ha)")
        .without_column("Visits", "Area in");
    assert_eq!(
        earlier.visit()["field"]["area_ha"],
        100,
        "as earlier versions print it"
    );
    let dollars = Book::filled().put(
        "Visits",
        "Treatment cost",
        1,
        Cell::Text("$8.00".to_owned()),
    );
    assert_eq!(
        dollars.visit()["economics"],
        Book::filled().visit()["economics"]
    );

    for (tab, heading, words, said) in [
        (
            "Visits",
            "Area",
            "Area\n(ha)",
            "unit-differs Visits!I2 (Area in) says \"acre\", and Visits!H1",
        ),
        (
            "Visits",
            "Area",
            "Area\n(sections)",
            "heading-changed Visits!H1",
        ),
        (
            "Visits",
            "Treatment cost",
            "Treatment cost\n($/ha)",
            "unit-differs Visits!O2 (Cost per)",
        ),
        (
            "Visits",
            "Market value",
            "Market value\n(cents)",
            "heading-changed Visits!Q1",
        ),
        (
            "Visits",
            "Longitude",
            "Longitude\n(degrees west)",
            "heading-changed Visits!F1",
        ),
        ("Visits", "Submitted", "Submitted\n(local time)", ""),
        (
            "Counts",
            "Bract 1",
            "Bract 1\n(present or not)",
            "heading-changed Counts!E1",
        ),
    ] {
        let book = Book::filled().headed(tab, heading, words);
        if said.is_empty() {
            assert!(book.record().document.is_ok(), "nothing is under {words}");
            continue;
        }
        let findings = book.findings();
        assert!(findings[0].starts_with(said), "{said} in {findings:?}");
    }
    let moment = Cell::Moment(date(2026, 7, 22).at(9, 0, 0, 0));
    let local = Book::filled().put("Visits", "Submitted", 1, moment).headed(
        "Visits",
        "Submitted",
        "Submitted\n(local time)",
    );
    assert!(local.findings()[0].starts_with("heading-changed Visits!W1"));
}

#[test]
fn an_amount_without_its_unit_holds_the_visit() {
    for (heading, said) in [
        ("Area in", "cell-empty Visits!I2 (Area in): nothing"),
        ("Cost per", "cell-empty Visits!O2 (Cost per): nothing"),
    ] {
        let book = Book::filled().put("Visits", heading, 1, Cell::Empty);
        assert_eq!(book.findings(), [said]);
    }
    let renamed = Book::filled().headed("Visits", "Area in", "Unit");
    assert_eq!(
        renamed.findings(),
        ["cell-empty Visits, row 2 (Area in): nothing"]
    );
    let unknown = Book::filled().put("Visits", "Value per", 1, Cell::Text("bushel".to_owned()));
    assert_eq!(
        unknown.findings(),
        ["unit-missing Visits!R2 (Value per): \"bushel\""]
    );
}

#[test]
fn one_total_a_head_is_read_where_every_head_has_one() {
    let totals = [(1, 6.0), (2, 6.0), (6, 6.0), (7, 6.0)];
    let alone = totals.iter().fold(Book::filled(), |book, (row, total)| {
        book.totaled(*row, *total, false)
    });
    assert_eq!(
        alone.visit()["sites"],
        json!([{"site": 1, "plants": [6, 6]}, {"site": 2, "plants": [6, 6]}])
    );
    let too = totals.iter().fold(Book::filled(), |book, (row, total)| {
        book.totaled(*row, *total, true)
    });
    assert_eq!(too.visit()["sites"], Book::filled().visit()["sites"]);
    let one_alone = too.clone().totaled(1, 6.0, false);
    assert_eq!(one_alone.visit()["sites"], alone.visit()["sites"]);

    let differs = Book::filled().totaled(2, 7.0, true);
    assert_eq!(differs.findings(), ["total-differs Counts!K3 (Total): 7"]);
    let of_some = Book::filled().totaled(1, 6.0, false);
    assert_eq!(
        of_some.findings(),
        ["total-of-some-units Counts!K2 (Total): 6"]
    );
    let word = Book::filled().put("Counts", "Total", 1, Cell::Text("few".to_owned()));
    assert_eq!(
        word.findings(),
        ["total-differs Counts!K2 (Total): \"few\""]
    );
}

#[test]
fn a_deleted_row_of_a_head_holds_its_visit_and_deleted_blank_ones_do_not() {
    let head = Book::filled().without_rows(&[2]);
    assert_eq!(
        head.findings(),
        ["unit-row-missing Counts, rows 2 to 8: visit 1 has no row for head 2 of site 1"]
    );
    let site = Book::filled().without_rows(&[6, 7, 8, 9, 10]);
    assert!(site.findings()[0].ends_with("visit 1 has no row for site 2"));
    // Every blank row deleted, at every site alike: nothing that was filled can be gone.
    let blank: Vec<usize> = (3..=5).chain(8..=21).collect();
    let cleaned = Book::filled().without_rows(&blank);
    assert_eq!(cleaned.visit(), Book::filled().visit());
    let one_more = Book::filled().without_rows(&[&[2][..], &blank].concat());
    assert!(one_more.findings()[0].starts_with("unit-row-missing"));
}

#[test]
fn columns_of_ones_own_are_passed_over_and_a_cell_under_no_heading_is_held() {
    let mut own = Book::filled();
    own.tab("Counts").rows[0]
        .cells
        .push(Cell::Text("Total".to_owned()));
    let own = own.put("Counts", "Total", 1, Cell::Empty);
    assert_eq!(own.visit(), Book::filled().visit());
    let mut initials = Book::filled();
    initials.tab("Visits").rows[0]
        .cells
        .push(Cell::Text("Initials".to_owned()));
    let initials = initials.put("Visits", "Initials", 1, Cell::Text("n. n.".to_owned()));
    assert_eq!(initials.visit(), Book::filled().visit());
    let nameless = initials.headed("Visits", "Initials", "");
    assert!(nameless.findings()[0].starts_with("column-unknown Visits!X2"));
}

#[test]
fn a_sheet_without_its_hidden_tab_or_with_a_renamed_one_is_known_by_the_others() {
    let mut lost = Book::filled();
    lost.0.retain(|tab| tab.name != "bractline");
    assert_eq!(lost.visit(), Book::filled().visit());
    let mut renamed = Book::filled();
    renamed.tab("Visits").name = "Week 30".to_owned();
    assert_eq!(renamed.visit(), Book::filled().visit());
    lost.0.retain(|tab| tab.name != "Instructions");
    let read = count_sheet_records(&lost.0, "sheet.xlsx").expect("a count sheet");
    let refused = read.expect_err("nothing says which protocol");
    assert!(
        refused.to_string().contains("lost its hidden tab"),
        "{refused}"
    );
    assert!(
        refused
            .help()
            .is_some_and(|help| help.contains("fresh count sheet"))
    );
}

#[test]
fn a_treatment_is_read_with_its_day_and_an_older_sheet_has_none() {
    let treated = Book::filled()
        .put("Visits", "Treated on", 1, Cell::Date(date(2026, 7, 14)))
        .put(
            "Visits",
            "Treatment",
            1,
            Cell::Text("Insecticide".to_owned()),
        );
    let visit = treated.visit();
    assert_eq!(visit["treated_on"], "2026-07-14");
    assert_eq!(visit["treatment"], "insecticide");
    let earlier = Book::filled()
        .without_column("Visits", "Treated on")
        .without_column("Visits", "Treatment");
    assert_eq!(earlier.visit(), Book::filled().visit());
    // On an earlier sheet a column of one's own may have the name alone: it is not read as ours.
    let own = treated.headed("Visits", "Treated on", "Treated on").headed(
        "Visits",
        "Treatment",
        "Treatment",
    );
    assert_eq!(own.visit(), Book::filled().visit());
}

/// The units are there from the start: a row in which nobody wrote is no visit, and a scout who writes amounts alone has them.
#[test]
fn the_units_of_a_fresh_sheet_hold_where_a_scout_writes_amounts_alone() {
    let fresh = count_sheet_xlsx(&bsm_eggs(), &options()).expect("a workbook");
    let book = Book(sheets(&fresh));
    let records = count_sheet_records(&book.0, "sheet.xlsx").expect("a count sheet");
    assert_eq!(records.expect("its tabs").len(), 0, "nobody wrote in it");
    for (units, price, area) in [(Units::Us, "cwt", "acre"), (Units::Metric, "kg", "ha")] {
        let wanted = SheetOptions { units, ..options() };
        let workbook = count_sheet_xlsx(&bsm_eggs(), &wanted).expect("a workbook");
        let mut book = Book(sheets(&workbook));
        for (heading, unit) in [("Area in", area), ("Value per", price), ("Currency", "USD")] {
            let at = book.at("Visits", heading);
            let proposed = &book.tab("Visits").rows[1].cells[at];
            assert_eq!(*proposed, Cell::Text(unit.to_owned()), "{heading}");
        }
    }
}

#[test]
fn days_are_read_as_the_sheet_asks_for_them() {
    let written = |days: &str| Book::filled().put("Visits", "Day", 1, Cell::Text(days.to_owned()));
    for text in ["7/6/2026", "07/06/2026", "2026-07-06"] {
        assert_eq!(written(text).visit()["observed_on"], "2026-07-06", "{text}");
    }
    let treated = Book::filled()
        .put("Visits", "Treated on", 1, Cell::Text("7/1/2026".to_owned()))
        .put(
            "Visits",
            "Treatment",
            1,
            Cell::Text("insecticide".to_owned()),
        );
    assert_eq!(treated.visit()["treated_on"], "2026-07-01");
    // Without the words of the heading nobody knows the order any more.
    let changed = written("7/6/2026").headed("Visits", "Day", "Day (DD/MM/YYYY)");
    let findings = changed.record().document.expect_err("two readings");
    assert!(findings[0].expected.contains("2026-07-06"), "{findings:#?}");
    // A sheet that has lost its hidden tab still says it in its heading.
    let mut lost = written("7/6/2026");
    lost.0.retain(|tab| tab.name != "bractline");
    assert_eq!(lost.visit()["observed_on"], "2026-07-06");
}

/// What a sheet of totals gives back has one total a head, and no bract that nobody counted.
#[test]
fn a_sheet_of_totals_comes_back_as_totals() {
    let wanted = SheetOptions {
        visits: 1,
        sites: Some(2),
        totals_only: true,
        ..options()
    };
    let mut book = Book::filled();
    let of_totals = sheets(&count_sheet_xlsx(&bsm_eggs(), &wanted).expect("a workbook"));
    let visit = book.tab("Visits").rows[1].clone();
    book.0 = of_totals;
    book.tab("Visits").rows[1] = visit;
    for row in 1..=10 {
        book = book.put("Counts", "Total", row, Cell::Number(row as f64));
    }
    let visit = book.visit();
    assert_eq!(visit["sites"][0]["plants"], json!([1, 2, 3, 4, 5]));
    assert_eq!(visit["sites"][1]["plants"], json!([6, 7, 8, 9, 10]));
    assert_eq!(visit["sites"][0].get("heads"), None);
}
