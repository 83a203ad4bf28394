//! Protocol files: what is refused, with its place and reason; and visits of every kind of count, from the load to
//! the roll-up. What the built-in ones compute is in `thresholds.rs`.

use std::path::Path;
use std::time::Instant;

use arrow::array::RecordBatch;
use arrow::util::display::array_value_to_string;
use bractline::failure::Kind;
use bractline::protocol::catalogue::{Catalogue, Protocol};
use bractline::protocol::threshold::visit_threshold_sql;
use bractline::rollup::stages::stages;
use bractline::store::snapshot::Snapshot;
use bractline::store::tables::Store;
use serde_json::{Value, json};

use crate::support::{TestWorkspace, bractline, full_visit, lines};

fn built_in(id: &str) -> String {
    std::fs::read_to_string(format!("pipeline/protocols/{id}.toml")).expect("a built-in protocol")
}

/// A built-in protocol's text with one piece put for another.
fn bent(id: &str, piece: &str, other: &str) -> String {
    let text = built_in(id);
    assert!(text.contains(piece), "{id} has no {piece}");
    text.replacen(piece, other, 1)
}

/// A protocol with this threshold expression.
fn with_expression(expression: &str) -> String {
    let own = "expression = \"1.0 / 3.0\"";
    bent(
        "stem-weevil",
        own,
        &format!("expression = '''{expression}'''"),
    )
}

/// How a text is refused as the file of this name.
#[track_caller]
fn refusal(name: &str, text: &str) -> String {
    match Protocol::read(text, Path::new(name)) {
        Ok(_) => panic!("{name} was taken:\n{text}"),
        Err(failure) => {
            assert_eq!(failure.kind(), Kind::Protocol);
            failure.to_string()
        }
    }
}

// --- What is refused -----------------------------------------------------------------------------

#[test]
fn a_bad_file_is_refused_with_its_line_and_the_reason() {
    let eggs = |piece: &str, other: &str| bent("bsm-eggs", piece, other);
    let corn = |piece: &str, other: &str| bent("wbc-egg-masses", piece, other);
    let traps = |piece: &str, other: &str| bent("bertha-armyworm-traps", piece, other);
    let checks = built_in("bsm-eggs");
    let without_checks = checks
        .split("# Worked values")
        .next()
        .expect("what stands before");
    // The text, the line that is named, the reason.
    for (text, line, reason) in [
        ("title = ".to_owned(), "title", "value"),
        (
            eggs("pest = ", "pests = "),
            "pests",
            "unknown field `pests`",
        ),
        (
            eggs("units_per_site = 5", "units_per_site = \"five\""),
            "units_per_site",
            "invalid type",
        ),
        (
            eggs("layout = \"edge\"", "layout = \"middle\""),
            "layout",
            "unknown variant `middle`",
        ),
        (
            eggs("form = \"heads\"", "form = \"leaves\""),
            "form",
            "unknown variant `leaves`",
        ),
        (
            eggs("crop = \"sunflower\"", "crop = \" \""),
            "crop",
            "it is empty",
        ),
        (
            eggs(
                "source = \"R5.1 as the best stage: Charlet & Barker 1995, Helia 18(23):59-66. Hatch in 5-8 days: standard practice; no published source.\"",
                "source = \"\"",
            ),
            "source = \"\"",
            "where no source is known, say so",
        ),
        (
            eggs(
                "crop_types = [\"oilseed\"",
                "crop_types = [\"oilseed\", \"oilseed\"",
            ),
            "crop_types",
            "different names",
        ),
        (
            eggs(
                "in_short = \"computed for each field\"",
                "in_short = \"computed for each and every field\"",
            ),
            "in_short",
            "at most 24",
        ),
        (
            eggs("first = \"R2\"", "first = \"R12\""),
            "first",
            "\"R12\" is not on the scale: VE",
        ),
        (
            eggs("first = \"R2\"", "first = \"R4\""),
            "first",
            "R4 comes after R3",
        ),
        (
            eggs("treat_at = \"R5.1\"", "treat_at = \"bloom\""),
            "treat_at",
            "not on the scale",
        ),
        (
            eggs("R2 = [9, 23]", "R2 = [23, 9]"),
            "[development.without_weather]",
            "must be fewest, most",
        ),
        (
            eggs("R2 = [9, 23]", "bud = [9, 23]"),
            "[development.without_weather]",
            "\"bud\" is no stage of the scale",
        ),
        (
            eggs("slope_per_ln_m = -0.262", "slope_per_ln_m = 0.262"),
            "slope_per_ln_m",
            "density declines",
        ),
        (
            eggs("sites_min = 4", "sites_min = 0"),
            "sites_min",
            "1 or more",
        ),
        (
            eggs("form = \"heads\"", "form = \"plants\""),
            "counts_per_unit",
            "only heads",
        ),
        (
            eggs(
                "counts_per_unit = 6",
                "counts_per_unit = 6\ncatch_by_night = false",
            ),
            "catch_by_night",
            "only traps",
        ),
        (
            traps("catch_by_night = false", "each_count_at_most = 1"),
            "each_count_at_most",
            "no most",
        ),
        (
            eggs("[0.5, 120.0]", "[120.0, 0.5]"),
            "treatment_cost_per_acre",
            "0 < low < high",
        ),
        (
            eggs("[0.1, 4000.0]", "[0.1, inf]"),
            "area_ha",
            "0 < low < high",
        ),
        (
            eggs("currency = \"USD\"", "currency = \"dollars\""),
            "currency",
            "three capital letters",
        ),
        (
            corn("\"R5\", \"R6\"", "\"R5\", \"r-5\""),
            "scale",
            "stands in it twice",
        ),
        (
            corn("last = \"R3\"", "last = \"R5.1\""),
            "last",
            "is not on the scale: VE, V1",
        ),
        (
            traps(
                "scale = [\"seedling\", \"rosette\", \"bud\", \"flowering\", \"pod\", \"ripe\"]",
                "scale = [\"seedling\"]",
            ),
            "scale",
            "2 to 200",
        ),
        (
            traps("[[caution]]", "")
                .split("[[caution]]")
                .next()
                .expect("a part")
                .split("text = ")
                .next()
                .expect("a part")
                .to_owned(),
            "decision",
            "needs a [[caution]]",
        ),
        (without_checks.to_owned(), "# Banded", "it has no [[check]]"),
        (
            eggs("expect = 3.205", "expect = -3.205"),
            "expect",
            "a number above 0",
        ),
        (
            bent(
                "rssw",
                "crop_type = \"confection\"",
                "crop_type = \"confectionery\"",
            ),
            "crop_type",
            "is none of oilseed",
        ),
        (
            corn("crop_stage = \"VT\"", "crop_stage = \"R9\""),
            "crop_stage",
            "is not on the scale",
        ),
    ] {
        let message = refusal("own.toml", &text);
        assert!(message.contains(reason), "{reason}: {message}");
        let number = message
            .split("line ")
            .nth(1)
            .and_then(|rest| rest.split(':').next());
        let number: usize = number
            .and_then(|number| number.parse().ok())
            .expect("a line");
        let named = text.lines().nth(number - 1).expect("a line of the file");
        assert!(
            named.trim_start().starts_with(line),
            "line {number} is {named:?}, not {line}: {message}"
        );
        assert!(message.contains("mend:"), "{message}");
        assert!(message.lines().count() <= 3, "{message}");
    }
}

#[test]
fn a_threshold_that_is_no_scalar_of_the_canonical_columns_is_refused() {
    for (expression, reason) in [
        (
            "farm_size * 2.0",
            "there is no column farm_size: the columns are treatment_cost_per_ha, market_value_per_kg",
        ),
        ("field_mean", "there is no column field_mean"),
        ("visits.revision * 1.0", "there is no column"),
        ("crop_type", "it gives text"),
        ("area_ha > 3.0", "it gives true or false"),
        ("null", "it gives nothing"),
        ("'4'", "it gives text"),
        ("now()", "does not give the same"),
        ("sum(area_ha)", "is an aggregate"),
        ("count(*) * 1.0", "is an aggregate"),
        ("row_number() over (order by area_ha)", "a window function"),
        ("sum(area_ha) over ()", "a window function"),
        ("(select 1.0)", "a subquery"),
        (
            "case when exists (select 1) then 1.0 else 2.0 end",
            "a subquery",
        ),
        (
            "case when area_ha in (select 1.0) then 1.0 else 2.0 end",
            "a subquery",
        ),
        ("(select max(revision) from visits)", "visits"),
        ("random() + 1.0", "random does not give the same"),
        ("density(area_ha)", "Invalid function"),
        ("$1", "has no place in it"),
        ("4.0 as threshold", "an alias"),
        ("4.0; drop table visits", "it is not one SQL expression"),
        (
            "4.0) as double) end as threshold from current_visit --",
            "it is not one SQL expression",
        ),
        ("4.0, 5.0", "it is not one SQL expression"),
        ("select 4.0", "it is not one SQL expression"),
        ("create table x (y int)", "it is not one SQL expression"),
        ("", "it is not one SQL expression"),
        ("4.0 *", "it is not one SQL expression"),
        ("12 / 5", "divides whole numbers"),
        ("1.0 - 1.0", "it gives 0 for oilseed"),
        ("treatment_cost_per_ha - 10.0", "it gives -8.76"),
        (
            "case crop_type when 'oilseed' then 1.0 end",
            "it gives nothing for confection",
        ),
        (
            "case crop_stage when 'V8' then 1.0 end",
            "it gives nothing for oilseed at V9",
        ),
        ("1.0 / 0.0", "it gives inf"),
        (
            "length(repeat('a', 2000000000)) * 1.0",
            "repeat gives text: only functions that give numbers",
        ),
        (
            "cardinality(range(1, 1000000000)) * 1.0",
            "range gives something else: only functions that give numbers",
        ),
        (
            "9.0 + - -1.0",
            "it is written out as 9.0 + --1.0, which is something else",
        ),
        (&"+1".repeat(501), "it has 1002 bytes, and at most 1000"),
        (
            "greatest(0.5, ln(plants_per_ha))",
            "where plants_per_ha is not known it gives a number all the same",
        ),
        (
            "coalesce(treatment_cost_per_ha, 20.0)",
            "where treatment_cost_per_ha is not known",
        ),
    ] {
        let message = refusal("own.toml", &with_expression(expression));
        assert!(message.contains(reason), "{expression}: {message}");
        assert!(message.contains("[threshold] expression: "), "{message}");
        let lines: Vec<&str> = message.lines().collect();
        assert_eq!(lines.len(), 3, "{message}");
    }
}

#[test]
fn a_scalar_of_the_canonical_columns_is_taken_whatever_it_is_written_with() {
    for expression in [
        "4",
        "ln(plants_per_ha)",
        "case when crop_type in ('oilseed', 'dehull') then 1.0 else area_ha + 1.0 end",
        "cast(2 as double) * power(area_ha, 0.5)",
        "case when crop_type like 'oil%' and not crop_stage = 'V9' then 3.0 else 2.0 end",
        "coalesce(nullif(area_ha, 7.0), 20.0) -- whatever",
        "case when treatment_cost_per_ha < 9.0 then 9.0 else treatment_cost_per_ha end",
        "greatest(0.5, area_ha)",
        "1.0 /* of\nplants */",
        "9.0 + -(-1.0)",
        "9.0 - -1.0",
    ] {
        let protocol = Protocol::read(&with_expression(expression), Path::new("own.toml"));
        protocol.unwrap_or_else(|failure| panic!("{expression}: {failure}"));
    }
}

#[test]
fn the_longest_expression_is_computed_for_every_visit() {
    let workspace = TestWorkspace::of_region("us:46");
    let own = workspace.path().join("protocols");
    std::fs::create_dir_all(&own).expect("a folder");
    let deep = format!("area_ha{}", "+1".repeat(496));
    let text = built_in("bsm-eggs");
    let written = text
        .lines()
        .find(|line| line.starts_with("expression = "))
        .expect("an expression");
    let text = text.replacen(written, &format!("expression = \"{deep}\""), 1);
    std::fs::write(own.join("bsm-eggs.toml"), text).expect("a file");
    workspace.load_text("visits", &full_visit("v1").to_string());
    let query = "select threshold - area_ha as added from field_week";
    let run = workspace
        .run(&["sql", query, "--format", "json"])
        .expect_code(0);
    assert_eq!(run.json(), json!([{"added": 496.0}]));
}

#[test]
fn a_file_is_named_after_its_protocol() {
    let text = built_in("stem-weevil");
    for name in [
        "Stem Weevil.toml",
        "stem_weevil.toml",
        "it's.toml",
        &format!("{}.toml", "x".repeat(61)),
    ] {
        let message = refusal(name, &text);
        assert!(
            message.contains("its name is the protocol's id"),
            "{message}"
        );
    }
    let read = Protocol::read(&text, Path::new("somewhere/own-2.toml")).expect("a good name");
    assert_eq!(read.id, "own-2");
}

#[test]
fn a_bad_file_of_a_workspace_stops_every_command_that_needs_the_catalogue() {
    let workspace = TestWorkspace::of_region("us:46");
    let own = workspace.path().join("protocols");
    std::fs::create_dir_all(&own).expect("a folder");
    std::fs::write(own.join("own.toml"), with_expression("nitrogen * 2.0")).expect("a file");
    let submission = workspace.write("week.ndjson", full_visit("v1").to_string());
    let submission = submission.display().to_string();
    for arguments in [
        vec!["load", &submission],
        vec!["check", &submission],
        vec!["rollup", "--out", "unused"],
        vec!["protocols", "list"],
        vec!["protocols", "check"],
    ] {
        let run = workspace.run(&arguments).expect_code(1);
        for piece in ["own.toml, line ", "there is no column nitrogen", "mend:"] {
            assert!(run.stderr.contains(piece), "{arguments:?}: {}", run.stderr);
        }
    }
    std::fs::write(own.join("own.toml"), with_expression("2.0")).expect("a file");
    let list = workspace
        .run(&["protocols", "list", "--format", "json"])
        .expect_code(0)
        .json();
    let listed = list["protocols"].as_array().expect("a list");
    assert!(
        listed.iter().any(|protocol| protocol["id"] == "own"),
        "{list:#}"
    );
}

// --- The catalogue -------------------------------------------------------------------------------

#[test]
fn the_built_in_catalogue_has_every_kind_of_count_layout_and_crop() {
    let catalogue = Catalogue::read(None).expect("the catalogue");
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
        ]
    );
    for protocol in catalogue.protocols() {
        let text = built_in(&protocol.id);
        // A figure of an extension page is standard practice here, without a published source.
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
    let catalogue = Catalogue::read(None).expect("the catalogue");
    let first = begin.elapsed();
    let begin = Instant::now();
    let again = Catalogue::read(None).expect("the catalogue");
    let second = begin.elapsed();
    println!("first reading {first:?}, second {second:?}");
    assert_eq!(catalogue.ids(), again.ids());
    assert!(second.as_millis() < 1_000, "{second:?}");
}

#[test]
fn the_generated_sql_holds_no_comment_and_the_expressions_alone() {
    let workspace = TestWorkspace::of_region("us:46");
    let own = workspace.path().join("protocols");
    std::fs::create_dir_all(&own).expect("a folder");
    let text = with_expression("1.0 / 3.0 -- a third");
    std::fs::write(own.join("own.toml"), text).expect("a file");
    let catalogue = Catalogue::read(Some(&own)).expect("the catalogue");
    let sql = visit_threshold_sql(catalogue.protocols());
    assert!(
        sql.contains("when 'own' then cast(1.0 / 3.0 as double)\n"),
        "{sql}"
    );
    assert!(!sql.contains("--"), "{sql}");
    let eggs = "cast(treatment_cost_per_ha / (market_value_per_kg * plants_per_ha * 0.00078 * 0.45359237) as double)";
    assert!(sql.contains(eggs), "{sql}");
    let printed = workspace.run(&["protocols", "sql"]).expect_code(0).stdout;
    assert_eq!(printed.trim_end(), sql);
    let json = workspace
        .run(&["protocols", "sql", "--format", "json"])
        .expect_code(0)
        .json();
    assert_eq!(json["sql"], sql);
}

#[test]
fn a_page_of_a_protocol_holds_its_sources_its_example_and_every_caution() {
    let catalogue = Catalogue::read(None).expect("the catalogue");
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
}

#[test]
fn the_list_fits_a_terminal_and_names_every_protocol_once() {
    let list = bractline(&["protocols", "list"]).expect_code(0).stdout;
    let catalogue = Catalogue::read(None).expect("the catalogue");
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

// --- Visits of every kind of count ---------------------------------------------------------------

/// A visit under a protocol without any economics; the field's number keeps fields apart.
fn plain_visit(
    field: u32,
    protocol: &str,
    (crop_type, stage): (&str, &str),
    sites: Value,
) -> Value {
    let mut visit = full_visit(&format!("{protocol}-{field}"));
    visit["field"]["field_id"] = json!(format!("F-{field}"));
    visit["field"]["crop_type"] = json!(crop_type);
    visit["protocol"] = json!(protocol);
    visit["crop_stage"] = json!(stage);
    visit["sites"] = sites;
    visit
        .as_object_mut()
        .expect("an object")
        .remove("economics");
    visit
}

fn plants(sites: u32, counts: &[u32]) -> Value {
    (1..=sites)
        .map(|site| json!({"site": site, "plants": counts}))
        .collect()
}

/// Columns of the stored visits as text, a line a visit, after its id.
fn stored(workspace: &TestWorkspace, columns: &str) -> Vec<String> {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let batches = runtime.block_on(async {
        let store = Store::in_folder(&workspace.path().join("store")).expect("the store");
        let snapshot = Snapshot::open(&store, 1).await.expect("its newest version");
        let query = format!("select visit_id, {columns} from visits order by visit_id");
        let frame = snapshot.session().sql(&query).await.expect("a query");
        frame.collect().await.expect("rows")
    });
    let line = |batch: &RecordBatch, row: usize| {
        let cells = batch.columns().iter();
        let cells = cells.map(|column| array_value_to_string(column, row).expect("a text"));
        cells.collect::<Vec<_>>().join(" ")
    };
    batches
        .iter()
        .flat_map(|batch| {
            (0..batch.num_rows())
                .map(|row| line(batch, row))
                .collect::<Vec<_>>()
        })
        .collect()
}

/// The county-weeks by protocol: fields visited, at threshold, mean pressure.
fn county_weeks(workspace: &TestWorkspace) -> Vec<(String, String, String, String)> {
    let table = workspace.rolled_up()["private/county_week_full.csv"].clone();
    let table = String::from_utf8(table).expect("text");
    let mut rows = table
        .lines()
        .map(|line| line.split(',').collect::<Vec<_>>());
    let header = rows.next().expect("a header");
    let place = |name: &str| {
        header
            .iter()
            .position(|column| *column == name)
            .expect("a column")
    };
    let wanted = [
        "protocol",
        "fields_visited",
        "fields_at_threshold",
        "mean_pressure",
    ]
    .map(place);
    rows.map(|row| {
        let [protocol, visited, at_threshold, pressure] = wanted.map(|at| row[at].to_owned());
        (protocol, visited, at_threshold, pressure)
    })
    .collect()
}

#[test]
fn visits_of_every_kind_come_out_under_their_own_protocol_and_no_other() {
    let workspace = TestWorkspace::of_region("us:46");
    let mut visits = Vec::new();
    for field in 1..=3 {
        // The same three fields under two protocols, edge and interior, in one week.
        let mut eggs = full_visit(&format!("eggs-{field}"));
        eggs["field"]["field_id"] = json!(format!("F-{field}"));
        eggs["field"]["crop_type"] = json!("confection");
        visits.push(eggs);
        // A mean of 2 a head, threshold 1.
        visits.push(plain_visit(
            field,
            "rssw",
            ("confection", "R5.1"),
            plants(5, &[0, 1, 2, 3, 4]),
        ));
        // 28 moths in 7 nights are 4 a night: at threshold.
        let traps = json!([{"site": 1, "traps": [{"catch": 28, "nights": 7}]}]);
        visits.push(plain_visit(
            field,
            "sunflower-moth-traps",
            ("oilseed", "R5.1"),
            traps,
        ));
        // 2 of 25 plants in field corn: 0.08, at the threshold of tasseling, and 0.4 of that at milk.
        let stage = if field == 3 { "R3" } else { "vt" };
        let mut share = plants(5, &[0, 0, 0, 0, 0]);
        share[0]["plants"] = json!([1, 1, 0, 0, 0]);
        visits.push(plain_visit(
            10 + field,
            "wbc-egg-masses",
            ("field-corn", stage),
            share,
        ));
        // 450 moths since the traps were put up: half of 900, whatever the nights.
        let traps = json!([{"site": 1, "traps": [{"catch": 450, "nights": 30 * field}]}]);
        visits.push(plain_visit(
            20 + field,
            "bertha-armyworm-traps",
            ("canola", "flowering"),
            traps,
        ));
    }
    let account = workspace.load_text("week.ndjson", &lines(&visits));
    assert_eq!(account["accepted"], visits.len(), "{account:#}");
    let found = county_weeks(&workspace);
    let row = |protocol: &str, at_threshold: &str, pressure: &str| {
        (
            protocol.to_owned(),
            "3".to_owned(),
            at_threshold.to_owned(),
            pressure.to_owned(),
        )
    };
    // Eggs: 3 a head, by 8 / (0.16 x 20000 x 0.00078) = 3.205: a pressure of 0.936.
    let eggs = found
        .iter()
        .find(|row| row.0 == "bsm-eggs")
        .expect("eggs")
        .3
        .clone();
    assert!(
        (eggs.parse::<f64>().expect("a number") - 0.936).abs() < 1e-9,
        "{eggs}"
    );
    let corn = found
        .iter()
        .find(|row| row.0 == "wbc-egg-masses")
        .expect("corn")
        .3
        .clone();
    assert!(
        (corn.parse::<f64>().expect("a number") - 0.8).abs() < 1e-9,
        "{corn}"
    );
    assert_eq!(
        found,
        [
            row("bertha-armyworm-traps", "0", "0.5"),
            row("bsm-eggs", "0", &eggs),
            row("rssw", "3", "2.0"),
            row("sunflower-moth-traps", "3", "1.0"),
            row("wbc-egg-masses", "2", &corn),
        ]
    );
}

#[test]
fn no_stage_over_several_visits_pools_protocols() {
    let mut over_several = 0;
    for stage in stages().expect("the stages") {
        let has_protocol = stage.columns.iter().any(|column| column.name == "protocol");
        // A visit's newest revision is no figure: there is nothing to be pooled.
        assert!(
            has_protocol || stage.table == "newest_revision",
            "{}: keep the protocol, edge and interior are not to be pooled",
            stage.file_name
        );
        if stage.key != ["visit_id"] {
            let in_key = stage.key.iter().any(|column| column == "protocol");
            assert!(in_key, "{}: its key lacks the protocol", stage.file_name);
            over_several += 1;
        }
    }
    assert!(over_several >= 3);
}

#[test]
fn a_threshold_asks_for_the_economics_that_it_needs_and_no_others() {
    let workspace = TestWorkspace::of_region("us:46");
    let heads = plants(5, &[0, 1, 2, 3, 4]);
    let oilseed = plain_visit(1, "rssw", ("oilseed", "R5.1"), heads.clone());
    let confection = plain_visit(2, "rssw", ("confection", "R5.1"), heads.clone());
    // What is given is judged even where it is not needed.
    let mut in_cents = plain_visit(3, "rssw", ("confection", "R5.1"), heads);
    in_cents["economics"] = json!({"market_value": {"amount": 16, "per": "lb", "currency": "USD"}});
    let account = workspace.load_text("week.ndjson", &lines(&[oilseed, confection, in_cents]));
    assert_eq!(
        (&account["accepted"], &account["held"]),
        (&json!(1), &json!(2)),
        "{account:#}"
    );
    let held = &account["submissions"][0]["held_records"];
    assert_eq!(held[0]["findings"][0]["code"], "economics-missing");
    assert_eq!(held[1]["findings"][0]["code"], "market-value-implausible");
    let catalogue = Catalogue::read(None).expect("the catalogue");
    let needed = |protocol: &str, crop_type: &str| {
        let limits = catalogue.protocol(protocol).expect("a protocol").limits();
        let needed = limits.economics_needed(crop_type).iter();
        needed.map(|member| member.name()).collect::<Vec<_>>()
    };
    let all = ["treatment_cost", "market_value", "plant_population"];
    assert_eq!(needed("bsm-eggs", "oilseed"), all);
    assert_eq!(needed("bsm-adults", "confection"), all);
    assert_eq!(needed("rssw", "dehull"), all);
    assert!(needed("rssw", "confection").is_empty());
    assert!(needed("wbc-egg-masses", "sweet-corn").is_empty());
}

#[test]
fn defaults_are_assumed_only_where_a_threshold_rests_on_them() {
    let workspace = TestWorkspace::of_region("us:46");
    let settings = workspace.path().join("bractline.toml");
    let mut text = std::fs::read_to_string(&settings).expect("settings");
    for crop_type in ["oilseed", "confection"] {
        text += &format!(
            "\n[defaults.{crop_type}]\ntreatment_cost = {{ amount = 8.0, per = \"acre\", currency = \"USD\" }}\n\
             market_value = {{ amount = 0.1, per = \"lb\", currency = \"USD\" }}\n\
             plant_population = {{ count = 17000, per = \"acre\" }}\n"
        );
    }
    std::fs::write(&settings, text).expect("settings");
    let heads = plants(5, &[0, 1, 2, 3, 4]);
    let records = [
        plain_visit(1, "rssw", ("oilseed", "R5.1"), heads.clone()),
        plain_visit(2, "rssw", ("confection", "R5.1"), heads),
    ];
    let account = workspace.load_text("week.ndjson", &lines(&records));
    assert_eq!(account["accepted"], 2, "{account:#}");
    assert_eq!(
        stored(&workspace, "assumed, treatment_cost_per_ha is null"),
        [
            "rssw-1 treatment_cost market_value plant_population false",
            "rssw-2  true"
        ]
    );
}

#[test]
fn a_stage_is_read_on_the_scale_of_its_own_crop() {
    let workspace = TestWorkspace::of_region("us:46");
    let corn = |field: u32, stage: &str| {
        plain_visit(
            field,
            "wbc-egg-masses",
            ("field-corn", stage),
            plants(5, &[0; 20]),
        )
    };
    let mut sunflower = full_visit("eggs");
    sunflower["crop_stage"] = json!("VT");
    let records = [
        corn(1, "R5.1"),
        corn(2, "R7"),
        sunflower,
        corn(3, "R2"),
        corn(4, "v-12"),
    ];
    let account = workspace.load_text("week.ndjson", &lines(&records));
    assert_eq!(
        (&account["accepted"], &account["held"]),
        (&json!(2), &json!(3)),
        "{account:#}"
    );
    for (place, expected) in [(0, "VT, R1, R2"), (1, "VT, R1, R2"), (2, "R5.0 to R5.9")] {
        let finding = &account["submissions"][0]["held_records"][place]["findings"][0];
        assert_eq!(finding["code"], "stage-unknown");
        let said = finding["expected"].as_str().expect("a sentence");
        assert!(said.contains(expected), "{said}");
    }
    assert_eq!(
        stored(&workspace, "crop_stage, crop_stage_stated"),
        ["wbc-egg-masses-3 R2 R2", "wbc-egg-masses-4 V12 v-12"]
    );
}

#[test]
fn a_crop_does_not_grow_backwards_on_a_listed_scale_either() {
    let workspace = TestWorkspace::of_region("us:46");
    let visit = |number: u32, day: u32, stage: &str| {
        let mut visit = plain_visit(
            1,
            "wbc-egg-masses",
            ("field-corn", stage),
            plants(5, &[0; 20]),
        );
        visit["visit_id"] = json!(format!("corn-{number}"));
        visit["observed_on"] = json!(format!("2026-07-{day}"));
        visit["submitted_at"] = json!(format!("2026-07-{day}T20:00:00Z"));
        visit
    };
    workspace.load_text("first.ndjson", &lines(&[visit(1, 10, "R1")]));
    let account = workspace.load_text(
        "second.ndjson",
        &lines(&[visit(2, 17, "V9"), visit(3, 18, "R2")]),
    );
    assert_eq!(
        account["submissions"][0]["flags"]["stage-backwards"], 1,
        "{account:#}"
    );
    // Sunflower on the same land is another crop: nothing is compared.
    let mut eggs = full_visit("eggs");
    eggs["field"]["field_id"] = json!("F-1");
    let account = workspace.load_text("third.ndjson", &eggs.to_string());
    assert_eq!(
        account["submissions"][0]["flags"].get("stage-backwards"),
        None,
        "{account:#}"
    );
}

#[test]
fn a_visit_whose_protocol_asks_for_more_than_it_did_is_left_out_and_told() {
    let workspace = TestWorkspace::of_region("us:46");
    let own = workspace.path().join("protocols");
    std::fs::create_dir_all(&own).expect("a folder");
    std::fs::write(own.join("own.toml"), with_expression("2.0")).expect("a file");
    let mut records: Vec<Value> = (1..=4)
        .map(|field| plain_visit(field, "own", ("oilseed", "V9"), plants(5, &[1; 5])))
        .collect();
    // The last one gives its economics, though nobody asks for them.
    records[3]["economics"] = full_visit("x")["economics"].clone();
    let account = workspace.load_text("week.ndjson", &lines(&records));
    assert_eq!(account["accepted"], 4, "{account:#}");
    let out = workspace.beside("before").display().to_string();
    let run = workspace.run(&["rollup", "--out", &out]).expect_code(0);
    assert!(!run.stderr.contains("left out"), "{}", run.stderr);
    let text = with_expression("treatment_cost_per_ha / 10.0");
    std::fs::write(own.join("own.toml"), text).expect("a file");
    let out = workspace.beside("after").display().to_string();
    let run = workspace.run(&["rollup", "--out", &out]).expect_code(0);
    assert!(
        run.stderr.contains("3 visits are left out"),
        "{}",
        run.stderr
    );
}
