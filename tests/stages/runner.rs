//! The runner: a stage whose header is not true is refused.

use arrow::array::RecordBatch;
use scouting::failure::{Failure, Kind};
use store::stages::files::Stage;

use super::cells;
use crate::support::stages::{table, try_stage};

const TRUTHFUL: &str = "\
-- Doubles.
--
-- grain:   one row an input row
-- key:     name
-- reads:   given
-- privacy: private
-- columns:
--   name   text    not null  a name
--   twice  double  null      [1] twice the value
-- checks:
--   twice is null or twice >= 0
select name as name, 2.0 * value as twice from given
";

fn try_text(text: &str, rows: &str) -> Result<RecordBatch, Failure> {
    let stage = Stage::read("77_doubled.sql", text)?;
    let given = [
        ("given", table(&format!("name:text value:double\n{rows}"))),
        ("other", table("name:text value:double\na 1")),
    ];
    try_stage(&stage, &given)
}

#[test]
fn a_truthful_stage_runs() {
    let made = try_text(TRUTHFUL, "b 1\na 2\nc -").expect("the header is true");
    assert_eq!(cells(&made, "name twice"), ["a 4.0", "b 2.0", "c -"]);
}

#[test]
fn a_stage_whose_header_lies_is_refused_with_its_file_and_the_lie() {
    let lies = [
        // What it reads: another table, one more, one that a subquery reads, one that it does not name.
        ("reads:   given", "reads:   other", "its query reads given"),
        (
            "reads:   given",
            "reads:   given, other",
            "its query reads given",
        ),
        (
            "from given",
            "from given where name in (select name from other)",
            "reads given, other",
        ),
        // Its columns: names, order, number.
        ("as twice", "as double", "its columns are name, double"),
        (
            "name as name, 2.0 * value as twice",
            "2.0 * value as twice, name as name",
            "its columns are twice, name",
        ),
        (
            "as twice from",
            "as twice, 1 as more from",
            "its columns are name, twice, more",
        ),
        // Their types: a text of digits is no number, and a number no text.
        (
            "2.0 * value as twice",
            "cast(value as varchar) as twice",
            "header promises Float64",
        ),
        (
            "2.0 * value as twice",
            "cast(value as bigint) as twice",
            "header promises Float64",
        ),
        (
            "name as name",
            "length(name) as name",
            "header promises Utf8",
        ),
        // Nulls.
        (
            "double  null",
            "double  not null",
            "twice is null in some rows",
        ),
        // Its key and its checks.
        ("name as name", "'one' as name", "appear more than once"),
        ("twice >= 0", "twice >= 3", "1 rows break its check"),
        ("twice is null or", "", "1 rows break its check"),
        // Its query.
        ("from given", "from nowhere", "nowhere"),
        ("select name", "select nobody", "nobody"),
    ];
    for (truth, lie, says) in lies {
        assert_eq!(TRUTHFUL.matches(truth).count(), 1, "{truth}");
        let failure = try_text(&TRUTHFUL.replace(truth, lie), "b 1\na 2\nc -")
            .expect_err("the header does not say the truth");
        assert_eq!(failure.kind(), Kind::Stage);
        let message = failure.to_string();
        assert!(message.contains("77_doubled.sql"), "{message}");
        assert!(message.contains(says), "{lie}: {message}");
    }
}
