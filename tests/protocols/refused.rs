//! Protocol files that are refused, with their line and the reason.

use std::path::Path;

use scouting::protocol::catalogue::Protocol;

use super::{bent, built_in, refusal, with_expression};
use crate::support::{TestWorkspace, full_visit};

#[test]
fn a_bad_file_is_refused_with_its_line_and_the_reason() {
    let eggs = |piece: &str, other: &str| bent("bsm-eggs", piece, other);
    let corn = |piece: &str, other: &str| bent("wbc-egg-masses", piece, other);
    let traps = |piece: &str, other: &str| bent("bertha-armyworm-traps", piece, other);
    let checks = built_in("bsm-eggs");
    let without_checks = checks
        .split("# Worked values")
        .next()
        .expect("what is before it");
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
                "source = \"R5.1 as the best stage: Charlet & Barker 1995, Helia 18(23):59-66. Hatch in 5-8 days: Crop & Pest Report, North Dakota State University, July 2015.\"",
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
            eggs("recount_at = \"R3\"", "recount_at = \"R4\""),
            "recount_at",
            "no stage of the window after R2",
        ),
        (
            eggs("recount_at = \"R3\"", "recount_at = \"R2\""),
            "recount_at",
            "no stage of the window after R2",
        ),
        (
            bent("rssw", "last = \"R5.4\"", "last = \"R4\""),
            "first",
            "R5.0 comes after R4",
        ),
        (
            bent("rssw", "last = \"R5.4\"", "last = \"bloom\""),
            "last",
            "\"bloom\" is not on the scale",
        ),
        (
            bent("rssw", "treat_at = \"R5.1\"", "treat_at = \"R5.5\""),
            "treat_at",
            "not among [treatment_stages]",
        ),
        (
            eggs("from_ha = 144.0, sites = 12", "from_ha = 64.0, sites = 12"),
            "sites_by_area",
            "smallest first",
        ),
        (
            eggs("from_ha = 144.0, sites = 12", "from_ha = 144.0, sites = 8"),
            "sites_by_area",
            "more sites than before",
        ),
        (
            eggs("from_ha = 64.0, sites = 8", "from_ha = 64.0, sites = 4"),
            "sites_by_area",
            "more sites than before",
        ),
        (
            eggs(
                "kind = \"economic injury level\"",
                "kind = \"injury level\"",
            ),
            "kind",
            "unknown variant `injury level`",
        ),
        (
            eggs(
                "kind = \"economic injury level\"",
                "kind = \"regional risk class\"",
            ),
            "kind",
            "decision = \"region\"",
        ),
        (
            traps(
                "kind = \"regional risk class\"",
                "kind = \"action threshold\"",
            ),
            "kind",
            "a regional risk class, and nothing else",
        ),
        (
            traps("next_step = \"scout for larvae\"\n", ""),
            "[timing]",
            "needs next_step",
        ),
        (
            traps(
                "next_step = \"scout for larvae\"\n",
                "next_step = \"scout for larvae\"\ntreat_at = \"bud\"\n",
            ),
            "treat_at",
            "times none",
        ),
        (
            eggs(
                "treat_at = \"R5.1\"",
                "treat_at = \"R5.1\"\nnext_step = \"scout\"",
            ),
            "next_step",
            "only a count that decides about no treatment",
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
            eggs("counts_per_unit = 6\n", ""),
            "unit_totals",
            "a fixed number of counts",
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
            "appears in it twice",
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
        assert!(message.contains("help:"), "{message}");
        assert!(message.lines().count() <= 3, "{message}");
    }
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
    let read = Protocol::read(
        &text,
        Path::new("somewhere/own-2.toml"),
        store::stages::expression::plan,
    )
    .expect("a good name");
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
        for piece in ["own.toml, line ", "there is no column nitrogen", "help:"] {
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
