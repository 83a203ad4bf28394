//! A mapping file → a mapping that makes sense, or the first thing in it that does not.
//!
//! Looked at is the file alone; whether a sheet has its columns is [`crate::mapping::layout::columns`]'s to say.

use std::collections::BTreeMap;

use regex::Regex;

use crate::mapping::definition::check_field::{constant_value, field};
use crate::mapping::definition::check_selector::{letter_selector, names_selector};
use crate::mapping::definition::check_sources;
use crate::mapping::definition::file::{
    BlockEntry, IgnoreEntry, JoinEntry, MappingFile, RowIs, Rows, SkipEntry, VisitId,
};
use crate::mapping::definition::mistake::{Mistake, mistake, regex};
use crate::mapping::definition::open_questions::refuse_open_questions;
use crate::mapping::id_prefixes::{IdPrefixes, prefix_mistake};
use crate::mapping::member::{self, Keys, Level, Member};
use crate::mapping::names::{column_of, folded};
use crate::mapping::plan::{
    Constant, Field, IdPlan, Ignored, Join, Mapping, RowPlan, SheetChoice, Skip, TableForm,
};
use scouting::failure::{Failure, Kind as FailureKind};

/// Reads and checks the text of a mapping file.
pub(in crate::mapping) fn read(text: &str, place: &str) -> Result<Mapping, Failure> {
    refuse_open_questions(text, place)?;
    let file: MappingFile =
        toml::from_str(text).map_err(|error| not_a_mapping(text, place, error))?;
    mapping(file, place).map_err(|mistake| {
        Failure::new(
            FailureKind::Settings,
            format!("cannot use the mapping: {}", mistake.what),
        )
        .at(place)
        .mend(mistake.mend)
    })
}

fn not_a_mapping(text: &str, place: &str, error: toml::de::Error) -> Failure {
    let line = error.span().map(|span| {
        text.as_bytes()[..span.start.min(text.len())]
            .iter()
            .filter(|byte| **byte == b'\n')
            .count()
            + 1
    });
    let place = match line {
        Some(line) => format!("{place}, line {line}"),
        None => place.to_owned(),
    };
    let words = error.message().replace('\n', "; ");
    Failure::new(FailureKind::Settings, format!("cannot read the mapping: {words}"))
        .at(place)
        .mend("a mapping is TOML with the members of schemas/mapping.schema.json; sample_data/mappings has three")
        .caused_by(error)
}

fn mapping(file: MappingFile, place: &str) -> Result<Mapping, Mistake> {
    if file.mapping != "1" {
        return mistake(
            format!("it is of version {:?}", file.mapping),
            "this program reads mapping = \"1\"",
        );
    }
    if file.target != "visit/1.0" {
        return mistake(
            format!("its target is {:?}", file.target),
            "the one target is \"visit/1.0\"",
        );
    }
    if file
        .sender
        .as_deref()
        .is_some_and(|sender| sender.trim().is_empty())
    {
        return mistake("its sender is blank", "write a name, or leave sender out");
    }
    let fields = file
        .field
        .into_iter()
        .enumerate()
        .map(|(place, entry)| {
            let name = format!("[[field]] {} (to = {:?})", place + 1, entry.to);
            field(entry, &file.schema).map_err(|mistake| Mistake {
                what: format!("{name}: {}", mistake.what),
                ..mistake
            })
        })
        .collect::<Result<Vec<Field>, Mistake>>()?;
    let constants = constants(&file.constant)?;
    let visit_id = file.visit_id.map(visit_id).transpose()?;
    let rows = row_plan(&file.rows, visit_id)?;
    let mapping = Mapping {
        place: place.to_owned(),
        form: table_form(&file.dialect)?,
        fields,
        constants,
        rows,
        skips: file.skip.into_iter().map(skip).collect::<Result<_, _>>()?,
        blocks: file
            .block
            .into_iter()
            .map(block)
            .collect::<Result<_, _>>()?,
        joins: file.join.into_iter().map(join).collect::<Result<_, _>>()?,
        ignored: file
            .ignore
            .into_iter()
            .map(ignored)
            .collect::<Result<_, _>>()?,
        submitted_at: None,
        sender: file.sender.map(|sender| sender.trim().to_owned()),
        plain: false,
    };
    check_sources::check(&mapping)?;
    Ok(mapping)
}

fn table_form(dialect: &crate::mapping::definition::file::Dialect) -> Result<TableForm, Mistake> {
    let choices = [
        dialect
            .sheet_name
            .as_ref()
            .map(|names| SheetChoice::Names(names.all().to_vec())),
        dialect.sheet_number.map(SheetChoice::Number),
        dialect
            .sheet_pattern
            .as_deref()
            .map(regex)
            .transpose()?
            .map(SheetChoice::Pattern),
    ];
    let mut choices = choices.into_iter().flatten();
    let sheet = choices.next().unwrap_or(SheetChoice::TheOnlyOne);
    if choices.next().is_some() || matches!(sheet, SheetChoice::Number(0)) {
        return mistake(
            "[dialect] does not name one choice of sheets",
            "give one of sheetName, sheetNumber (from 1) and sheetPattern",
        );
    }
    let header_rows = match (dialect.header, &dialect.header_rows) {
        (Some(false), None) => Vec::new(),
        (Some(false), Some(_)) => {
            return mistake(
                "[dialect] has header = false and headerRows",
                "leave one of them out",
            );
        }
        (_, Some(rows)) => rows.clone(),
        (_, None) => vec![1],
    };
    let ascend = header_rows.windows(2).all(|pair| pair[0] < pair[1]);
    if !ascend
        || header_rows.contains(&0)
        || (dialect.header != Some(false) && header_rows.is_empty())
    {
        return mistake(
            format!("[dialect] headerRows = {header_rows:?}"),
            "give row numbers from 1 on, in order",
        );
    }
    Ok(TableForm {
        sheet,
        ignored_sheets: dialect
            .ignore_sheets
            .iter()
            .map(|name| folded(name))
            .collect(),
        header_rows,
        header_join: dialect
            .header_join
            .clone()
            .unwrap_or_else(|| " ".to_owned()),
        header_fill: dialect.header_fill.unwrap_or(true),
        comment_rows: dialect.comment_rows.clone(),
        transpose: dialect.transpose,
        records: pointer(dialect.records.as_ref(), "records")?,
        rows_of: pointer(dialect.rows_of.as_ref(), "rowsOf")?,
    })
}

/// A JSON Pointer (RFC 6901) of a JSON document; none if it is not given.
fn pointer(given: Option<&String>, name: &str) -> Result<Option<String>, Mistake> {
    match given {
        Some(text) if !text.starts_with('/') => mistake(
            format!("[dialect] {name} is {text:?}"),
            "write a JSON Pointer, which begins with a slash: /visits",
        ),
        given => Ok(given.cloned()),
    }
}

fn join(entry: JoinEntry) -> Result<Join, Mistake> {
    let names = names_selector(&entry.name);
    if folded(&entry.sheet_name).is_empty() || names.is_err() || entry.header_row == Some(0) {
        return mistake(
            "a [[join]] does not name a sheet and a column",
            "give sheetName, and name: the header of the column that both sheets have; headerRow, from 1, if it is not the first",
        );
    }
    Ok(Join {
        sheet: entry.sheet_name,
        key: entry.name.all().to_vec(),
        header_row: entry.header_row.unwrap_or(1),
    })
}

fn skip(entry: SkipEntry) -> Result<Skip, Mistake> {
    let selector = match (&entry.name, &entry.column) {
        (Some(names), None) => names_selector(names)?,
        (None, Some(letters)) => letter_selector(letters)?,
        _ => {
            return mistake(
                "a [[skip]] does not name one column",
                "give one of name and column, and matches",
            );
        }
    };
    Ok(Skip {
        selector,
        matches: regex(&entry.matches)?,
    })
}

fn block(entry: BlockEntry) -> Result<Regex, Mistake> {
    let pattern = regex(&entry.matches)?;
    if pattern.capture_names().flatten().next().is_none() {
        return mistake(
            "a [[block]] names no group",
            "give groups, as (?<Site>[0-9]+); rows that say nothing are left out by [[skip]]",
        );
    }
    Ok(pattern)
}

fn ignored(entry: IgnoreEntry) -> Result<Ignored, Mistake> {
    match entry {
        IgnoreEntry::Name(name) => Ok(Ignored::Name(folded(&name))),
        IgnoreEntry::Column(column) => match (&column.column, &column.name_pattern) {
            (Some(letters), None) => match column_of(letters) {
                Some(place) => Ok(Ignored::Letter(place)),
                None => mistake(
                    format!("ignore: {letters:?} is no column"),
                    "name it by its letters, as C",
                ),
            },
            (None, Some(pattern)) => regex(pattern).map(Ignored::Pattern),
            _ => mistake(
                "ignore names a column in no way",
                "give a name, column or namePattern",
            ),
        },
    }
}

fn constants(table: &BTreeMap<String, toml::Value>) -> Result<Vec<Constant>, Mistake> {
    table
        .iter()
        .map(|(pointer, value)| {
            let found = member::find(pointer).filter(|(member, keys)| {
                *keys == Keys::default() && !matches!(member.level, Level::Count | Level::Index)
            });
            let Some((member, _)) = found else {
                return mistake(
                    format!("[constant] {pointer:?} is no member that can be fixed"),
                    "fix members of the visit, of all its sites, or the nights of all traps",
                );
            };
            Ok(Constant {
                member,
                value: constant_value(member, value)?,
            })
        })
        .collect()
}

fn members(pointers: &[String], what: &str, level: Level) -> Result<Vec<&'static Member>, Mistake> {
    pointers
        .iter()
        .map(|pointer| {
            let found = member::find(pointer)
                .filter(|(member, keys)| member.level == level && *keys == Keys::default());
            match found {
                Some((member, _)) => Ok(member),
                None => mistake(
                    format!("{what} names {pointer:?}"),
                    "name members by their pointers, as /field/field_id or /sites/{site}/site",
                ),
            }
        })
        .collect()
}

fn visit_id(entry: VisitId) -> Result<IdPlan, Mistake> {
    if entry.from.is_empty() {
        return mistake(
            "[visitId] from is empty",
            "name the members that make a visit what it is",
        );
    }
    Ok(IdPlan {
        from: members(&entry.from, "[visitId] from", Level::Visit)?,
        prefix: entry.prefix.unwrap_or_default(),
        id_prefixes: IdPrefixes {
            field: id_prefix("fieldPrefix", entry.field_prefix)?,
            scout: id_prefix("scoutPrefix", entry.scout_prefix)?,
        },
    })
}

fn id_prefix(key: &str, prefix: Option<String>) -> Result<String, Mistake> {
    let Some(prefix) = prefix else {
        return Ok(String::new());
    };
    match prefix_mistake(&prefix) {
        Some(mend) => mistake(format!("[visitId] {key} = {prefix:?}"), mend),
        None => Ok(prefix),
    }
}

fn row_plan(rows: &Rows, visit_id: Option<IdPlan>) -> Result<RowPlan, Mistake> {
    let visit_key = members(&rows.visit_key, "[rows] visitKey", Level::Visit)?;
    if visit_key.is_empty() != (rows.row_is == RowIs::Visit) {
        return mistake(
            "[rows] visitKey does not fit rowIs",
            "give visitKey unless a row is a visit: it says which rows are one visit",
        );
    }
    Ok(RowPlan {
        row_is: rows.row_is,
        visit_key,
        site_key: members(&rows.site_key, "[rows] siteKey", Level::Site)?,
        blank_key: rows.blank_key,
        blank_units: rows.blank_units,
        visit_id,
    })
}
