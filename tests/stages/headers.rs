//! The headers of SQL stages: their order, what they promise, and which tables are public.

use crate::house::sources;

#[test]
fn stages_are_numbered_and_say_their_contract_in_order() {
    for folder in ["pipeline/stages", "pipeline/public", "pipeline/scenario"] {
        stages_of_a_folder_say_their_contract(folder);
    }
}

fn stages_of_a_folder_say_their_contract(folder: &str) {
    let mut numbers = Vec::new();
    for source in sources(folder, &["sql"]) {
        let name = source.path.rsplit('/').next().unwrap_or_default();
        let (number, table) = name.split_once('_').expect("NN_table.sql");
        let number: u32 = number.parse().expect("a stage's number");
        // Ten apart at first; what comes between two of them later takes a number in between.
        assert!((10..100).contains(&number), "{}: two digits", source.path);
        numbers.push(number);
        assert!(
            !table.trim_end_matches(".sql").ends_with('s'),
            "{}: name it in the singular",
            source.path
        );
        let header: Vec<&str> = source
            .text
            .lines()
            .take_while(|line| line.starts_with("--"))
            .collect();
        assert!(
            header[0].len() > 20 && header[0].ends_with('.'),
            "{}:1: begin with a sentence",
            source.path
        );
        let mut from = 0;
        for part in [
            "-- grain:",
            "-- key:",
            "-- reads:",
            "-- privacy:",
            "-- columns:",
            "-- checks:",
        ] {
            let place = header.iter().position(|line| line.starts_with(part));
            let place =
                place.unwrap_or_else(|| panic!("{}: its header has no {part}", source.path));
            assert!(
                place > from,
                "{}:{}: {part} is in another order",
                source.path,
                place + 1
            );
            from = place;
        }
        let query: Vec<(usize, &str)> = (1..).zip(source.text.lines()).skip(header.len()).collect();
        for (number, line) in &query {
            let place = format!("{}:{number}", source.path);
            assert!(
                !line.contains('\t') && line.len() <= 100,
                "{place}: four spaces, 100 columns"
            );
            assert!(
                !line.contains("percentile_cont"),
                "{place}: take ranks and interpolate, it is not exact"
            );
            assert!(!line.contains("group by 1"), "{place}: group by names");
            assert!(
                !line.contains("{{") && !line.contains("${"),
                "{place}: settings come as tables"
            );
            let code = line.split("--").next().unwrap_or_default();
            // Texts are data: they keep their case.
            let code: String = code.split('\'').step_by(2).collect();
            assert_eq!(code, code.to_lowercase(), "{place}: lower case");
        }
        // The outermost list of columns: the one that is not indented.
        let last_select = query
            .iter()
            .rev()
            .find(|(_, line)| line.starts_with("select"));
        let (number, line) = last_select.expect("a stage selects");
        assert_eq!(
            line.trim(),
            "select",
            "{}:{number}: end with a list of named columns",
            source.path
        );
    }
    assert!(numbers.is_sorted() && numbers.len() >= 4, "{numbers:?}");
}

#[test]
fn only_stages_are_public_that_may_be_seen() {
    let private = store::stages::files::stages().expect("the stages");
    assert!(private.iter().all(|stage| !stage.public));
    let stages = store::stages::files::public_stages().expect("the stages");
    let public: Vec<&str> = stages.iter().map(|stage| &*stage.table).collect();
    assert_eq!(
        public,
        [
            "county_week",
            "elsewhere_week",
            "district_week",
            "region_week",
            "region_median",
            "region_stage",
            "sample_point"
        ],
        "a new public table needs a test in tests/privacy first"
    );
    let of_scenarios = store::stages::files::scenario_stages().expect("the stages");
    assert!(
        of_scenarios.len() >= 4 && of_scenarios.iter().all(|stage| !stage.public),
        "nothing of a scenario is public"
    );
    for stage in stages.iter().filter(|stage| stage.public) {
        for column in &stage.columns {
            let private = [
                "field_id",
                "farm_id",
                "observer_id",
                "visit_id",
                "lon",
                "lat",
                "remarks",
                "outline",
            ];
            assert!(
                !private.contains(&&*column.name),
                "{}: {}",
                stage.file_name,
                column.name
            );
        }
    }
}
