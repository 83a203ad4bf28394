//! The stages: reads the files of `pipeline/stages`, each a header that is a contract and a query.
//!
//! Running them and holding them to their headers is [`crate::stages::run_stage`].

use arrow::datatypes::DataType;
use include_dir::{Dir, include_dir};

use scouting::failure::{Failure, Kind};

static STAGES: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/../../pipeline/stages");
/// What is made of two roll-ups, one under other economics.
static SCENARIO: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/../../pipeline/scenario");

/// One stage: one table.
#[derive(Debug, Clone)]
pub struct Stage {
    /// Name of the file, for messages.
    pub file_name: String,
    /// Name of the table.
    pub table: String,
    /// Columns that identify a row.
    pub key: Vec<String>,
    /// Tables that the query reads, sorted.
    pub reads: Vec<String>,
    /// Whether the table is public.
    pub public: bool,
    /// The columns, in order.
    pub columns: Vec<StageColumn>,
    /// Conditions that hold for each row.
    pub checks: Vec<String>,
    /// The table that a step in Rust makes of the rows, for later stages.
    pub computed: Option<Computed>,
    /// The query.
    pub query: String,
}

/// A table that a step in Rust makes of a stage's rows: these rows with more columns.
#[derive(Debug, Clone)]
pub struct Computed {
    /// Name of the table.
    pub table: String,
    /// Name of the file that says how the columns are computed.
    pub file: String,
    /// The columns that it adds, in order.
    pub columns: Vec<StageColumn>,
}

/// One column of a stage's table.
#[derive(Debug, Clone, PartialEq)]
pub struct StageColumn {
    /// Its name.
    pub name: String,
    /// Its type.
    pub data_type: DataType,
    /// Whether it may be null.
    pub nullable: bool,
    /// Unit of its values, UCUM where it has one; `1` for a ratio.
    pub unit: Option<String>,
    /// One line for the reader.
    pub description: String,
}

/// What is made of public rows alone.
static PUBLIC: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/../../pipeline/public");

/// The stages of the public tables, in the order of their number.
pub fn public_stages() -> Result<Vec<Stage>, Failure> {
    stages_in(&PUBLIC)
}

/// Every stage, in the order of its number.
pub fn stages() -> Result<Vec<Stage>, Failure> {
    stages_in(&STAGES)
}

/// The stages of a scenario, in the order of their number.
pub fn scenario_stages() -> Result<Vec<Stage>, Failure> {
    stages_in(&SCENARIO)
}

fn stages_in(folder: &'static Dir<'_>) -> Result<Vec<Stage>, Failure> {
    let mut files: Vec<_> = folder.files().collect();
    files.sort_by_key(|file| file.path());
    files
        .into_iter()
        .map(|file| {
            let name = file.path().display().to_string();
            let text = file
                .contents_utf8()
                .ok_or_else(|| broken(&name, "it is not UTF-8"))?;
            Stage::read(&name, text)
        })
        .collect()
}

impl Stage {
    /// Reads a stage from the text of its file, `NN_table.sql`.
    pub fn read(file_name: &str, text: &str) -> Result<Stage, Failure> {
        let refused = |reason: &str| broken(file_name, reason);
        let table = file_name
            .strip_suffix(".sql")
            .and_then(|stem| stem.split_once('_'))
            .filter(|(number, _)| number.parse::<u32>().is_ok())
            .map(|(_, table)| table.to_owned())
            .ok_or_else(|| refused("its name is not NN_table.sql"))?;
        let header: Vec<&str> = text
            .lines()
            .map_while(|line| line.strip_prefix("--"))
            .map(|line| line.strip_prefix(' ').unwrap_or(line))
            .collect();
        let value = |name: &str| -> Result<&str, Failure> {
            header
                .iter()
                .find_map(|line| line.strip_prefix(name)?.strip_prefix(':'))
                .map(str::trim)
                .ok_or_else(|| refused(&format!("its header has no {name}:")))
        };
        value("grain")?;
        let mut reads = names(value("reads")?);
        reads.sort();
        let columns = list(&header, "columns")
            .map(column)
            .collect::<Option<Vec<_>>>()
            .filter(|columns| !columns.is_empty())
            .ok_or_else(|| {
                refused("a line of its columns is not: name type (not null|null) text")
            })?;
        Ok(Stage {
            file_name: file_name.to_owned(),
            table,
            key: names(value("key")?),
            reads,
            public: value("privacy")? == "public",
            columns,
            checks: list(&header, "checks")
                .map(|check| check.trim().to_owned())
                .collect(),
            computed: Computed::read(&header).map_err(|reason| refused(&reason))?,
            query: text.to_owned(),
        })
    }

    /// What the header promises of the table that is computed of the stage's rows; `None` where none is.
    pub(crate) fn with_computed(&self) -> Option<Stage> {
        let computed = self.computed.as_ref()?;
        let mut stage = self.clone();
        stage.table.clone_from(&computed.table);
        stage.columns.extend(computed.columns.iter().cloned());
        Some(stage)
    }
}

impl Computed {
    /// `computed: table by file.rs`, and below `computed columns:` the columns.
    fn read(header: &[&str]) -> Result<Option<Computed>, String> {
        let mut lines = header.iter();
        let named = lines.find_map(|line| line.strip_prefix("computed:"));
        let columns: Option<Vec<_>> = list(header, "computed columns").map(column).collect();
        let columns = columns.ok_or("a line of its computed columns is not in their form")?;
        match (named.map(|named| named.trim().split_once(" by ")), columns) {
            (None, columns) if columns.is_empty() => Ok(None),
            (Some(Some((table, file))), columns) if !columns.is_empty() => Ok(Some(Computed {
                table: table.to_owned(),
                file: file.to_owned(),
                columns,
            })),
            _ => {
                Err("it has not both: computed: table by file.rs, and computed columns:".to_owned())
            }
        }
    }
}

fn names(value: &str) -> Vec<String> {
    value
        .split(',')
        .map(|name| name.trim().to_owned())
        .collect()
}

/// The indented lines below `name:`.
fn list<'a>(header: &'a [&'a str], name: &str) -> impl Iterator<Item = &'a str> {
    let title = format!("{name}:");
    let start = header.iter().position(|line| line.trim_end() == title);
    let below = start.map_or(&header[..0], |start| &header[start + 1..]);
    below
        .iter()
        .copied()
        .take_while(|line| line.starts_with("  "))
}

/// The columns of a table that no stage makes, written as in a header: a line a column.
///
/// # Errors
/// A [`Failure`] that names the table, if a line is not in that form.
pub fn columns_of(table: &str, text: &str) -> Result<Vec<StageColumn>, Failure> {
    let columns: Option<Vec<_>> = text.lines().map(column).collect();
    columns.ok_or_else(|| broken(table, "a line of its columns is not in their form"))
}

/// `  pressure    double  null  [1] field_mean / threshold`
fn column(line: &str) -> Option<StageColumn> {
    let (name, rest) = line.trim().split_once(' ')?;
    let (data_type, rest) = rest.trim().split_once(' ')?;
    let rest = rest.trim();
    let (nullable, description) = match rest.strip_prefix("not null") {
        Some(description) => (false, description),
        None => (true, rest.strip_prefix("null")?),
    };
    let data_type = match data_type {
        "text" => DataType::Utf8,
        "int" => DataType::Int32,
        "bigint" => DataType::Int64,
        "double" => DataType::Float64,
        "boolean" => DataType::Boolean,
        "date" => DataType::Date32,
        _ => return None,
    };
    let description = description.trim();
    let (unit, description) = match description
        .strip_prefix('[')
        .and_then(|rest| rest.split_once(']'))
    {
        Some((unit, rest)) => (Some(unit.to_owned()), rest.trim()),
        None => (None, description),
    };
    Some(StageColumn {
        name: name.to_owned(),
        data_type,
        nullable,
        unit,
        description: description.to_owned(),
    })
}

fn broken(file_name: &str, reason: &str) -> Failure {
    Failure::new(
        Kind::Stage,
        format!("cannot use the stage {file_name}: {reason}"),
    )
    .mend("please report it: the stages are part of the program")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Holds that each stage reads only what there is, or is made before it.
    fn assert_read_in_order(stages: Vec<Stage>, given: &[&str]) {
        let mut made: Vec<String> = given.iter().map(|name| (*name).to_owned()).collect();
        assert!(!stages.is_empty());
        for stage in stages {
            for table in &stage.reads {
                assert!(made.contains(table), "{} reads {table}", stage.file_name);
            }
            let columns: Vec<&String> = stage.columns.iter().map(|column| &column.name).collect();
            assert!(
                stage.key.iter().all(|name| columns.contains(&name)),
                "{}",
                stage.file_name
            );
            made.push(stage.table);
            made.extend(stage.computed.map(|computed| computed.table));
        }
    }

    #[test]
    fn every_stage_reads_only_what_is_made_before_it() {
        let given = [
            "visits",
            "receipts",
            "protocol_window",
            "county",
            "named_day",
        ];
        let stages = stages().unwrap();
        assert!(stages.iter().all(|stage| !stage.public));
        assert_read_in_order(stages, &given);
    }

    #[test]
    fn every_public_stage_reads_public_rows_alone() {
        let given = [
            "public_row",
            "public_stage",
            "public_cell",
            "county",
            "county_share_smoothed",
            "week_clustering",
        ];
        let stages = public_stages().unwrap();
        assert!(stages.iter().all(|stage| stage.public));
        assert_read_in_order(stages, &given);
    }

    #[test]
    fn a_broken_header_is_refused_with_its_reason() {
        let whole = "-- x\n-- grain: one\n-- key: a\n-- reads: b\n-- privacy: private\n-- columns:\n--   a text null b\nselect 1";
        assert!(Stage::read("10_x.sql", whole).is_ok());
        for (name, text) in [
            ("x.sql", whole.to_owned()),
            ("10_x.sql", whole.replace("key:", "keys:")),
            ("10_x.sql", whole.replace("text null", "txt null")),
            ("10_x.sql", whole.replace("--   a text null b\n", "")),
        ] {
            assert!(Stage::read(name, &text).is_err(), "{name}: {text}");
        }
    }

    #[test]
    fn what_is_computed_of_a_stage_is_named_with_its_file_and_columns() {
        let header = "-- x\n-- grain: one\n-- key: a\n-- reads: b\n-- privacy: private\n-- columns:\n--   a text null b\n";
        let named = "-- computed: more by more.rs\n";
        let columns = "-- computed columns:\n--   c double null [1] d\n";
        let read = |lines: &str| Stage::read("10_x.sql", &format!("{header}{lines}select 1"));
        assert!(read("").unwrap().with_computed().is_none());
        let stage = read(&format!("{named}{columns}")).unwrap();
        assert_eq!(stage.computed.as_ref().unwrap().file, "more.rs");
        let more = stage.with_computed().unwrap();
        let names: Vec<&str> = more.columns.iter().map(|column| &*column.name).collect();
        assert_eq!((&*more.table, names), ("more", vec!["a", "c"]));
        for lines in [
            named.to_owned(),
            columns.to_owned(),
            format!("-- computed: more\n{columns}"),
            format!("{named}-- computed columns:\n--   c real null d\n"),
        ] {
            assert!(read(&lines).is_err(), "{lines}");
        }
    }
}
