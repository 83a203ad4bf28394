//! What a mapping does with each column of a file, in words: for a person who looks before loading.

use serde::Serialize;

use super::layout::lay_out::lay_out;
use super::layout::sheets::{ChosenSheet, choose_sheets};
use super::layout::table::{At, Column, Table};
use super::member::{Keys, Level};
use super::plan::{Field, IdPlan, Ignored, Mapping};
use crate::sheet::table::Sheet;
use scouting::failure::Failure;

/// What becomes of a column, or where a member comes from that no column gives.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ColumnUse {
    /// The sheet; empty for a text file, and for what holds for all.
    pub sheet: String,
    /// Its letters, as `C`; `L-AI` for columns that one pattern takes.
    pub column: String,
    /// The text over it; of several columns the first and the last.
    pub header: String,
    /// The member with its unit, or `ignored`.
    pub becomes: String,
}

impl Mapping {
    /// What it does with each column of a file's sheets, then what is the same for all records. Sheets of the same
    /// columns are named together.
    ///
    /// # Errors
    /// [`Failure`] if the file does not fit.
    pub fn column_uses(
        &self,
        sheets: &[Sheet],
        file_name: &str,
    ) -> Result<Vec<ColumnUse>, Failure> {
        let mut uses: Vec<ColumnUse> = Vec::new();
        for chosen in choose_sheets(self, sheets, file_name)? {
            for of_sheet in self.uses_of(&chosen, sheets, file_name)? {
                let same = |other: &&mut ColumnUse| {
                    (&other.column, &other.header, &other.becomes)
                        == (&of_sheet.column, &of_sheet.header, &of_sheet.becomes)
                };
                match uses.iter_mut().find(same) {
                    Some(other) => other.sheet = format!("{}, {}", other.sheet, of_sheet.sheet),
                    None => uses.push(of_sheet),
                }
            }
        }
        uses.extend(self.constants_and_id());
        Ok(uses)
    }

    fn uses_of(
        &self,
        chosen: &ChosenSheet<'_>,
        sheets: &[Sheet],
        file_name: &str,
    ) -> Result<Vec<ColumnUse>, Failure> {
        let table = lay_out(self, chosen, sheets, file_name)?;
        let mut uses: Vec<(usize, ColumnUse)> = Vec::new();
        for (place, field) in self.fields.iter().enumerate() {
            uses.extend(use_of_field(&table, place, field));
        }
        for (place, header) in table.header.iter().enumerate() {
            if self
                .ignored
                .iter()
                .any(|ignored| ignores(ignored, place, header))
            {
                let becomes = "ignored".to_owned();
                uses.push((
                    place,
                    column_use(&table, table.places.column(place), header.clone(), becomes),
                ));
            }
        }
        uses.sort_by_key(|(place, _)| *place);
        Ok(uses.into_iter().map(|(_, column)| column).collect())
    }

    fn constants_and_id(&self) -> Vec<ColumnUse> {
        let everywhere = |header: &str, becomes: String| ColumnUse {
            sheet: String::new(),
            column: String::new(),
            header: header.to_owned(),
            becomes,
        };
        let fixed = self.fixed().into_values();
        let mut uses: Vec<ColumnUse> = fixed
            .map(|(member, value)| {
                everywhere("[constant]", format!("{} = {value}", member.pointer))
            })
            .collect();
        let id = self.rows.visit_id.as_ref();
        uses.extend(id.map(|id| everywhere("[visitId]", made_of(id))));
        uses
    }
}

fn made_of(id: &IdPlan) -> String {
    let members: Vec<&str> = id.from.iter().map(|member| member.pointer).collect();
    let prefix = if id.prefix.is_empty() {
        String::new()
    } else {
        format!("{:?}, ", id.prefix)
    };
    format!("/visit_id, made of {prefix}{}", members.join(", "))
}

fn ignores(ignored: &Ignored, place: usize, header: &str) -> bool {
    match ignored {
        Ignored::Letter(letter) => *letter == place,
        other => !header.is_empty() && other.names(header),
    }
}

/// What a field reads: one column, several by a pattern, a cell or a title.
fn use_of_field(table: &Table<'_>, place: usize, field: &Field) -> Option<(usize, ColumnUse)> {
    let columns: Vec<_> = table
        .columns
        .iter()
        .filter(|column| column.field == place)
        .collect();
    let (first, last) = (columns.first()?, columns.last()?);
    let at = first.at.places().first().copied().unwrap_or(0);
    let column = match source(table, first) {
        one if columns.len() == 1 => one,
        one => format!("{one}-{}", source(table, last)),
    };
    let header = match columns.len() {
        1 => first.header.clone(),
        count => format!("{} to {} ({count} columns)", first.header, last.header),
    };
    Some((at, column_use(table, column, header, becomes(field))))
}

/// Where the cells of a source are, as a person finds them.
fn source(table: &Table<'_>, column: &Column) -> String {
    match &column.at {
        At::Row(_) | At::Together(_) => {
            let places = column.at.places().into_iter();
            let named: Vec<String> = places.map(|place| table.places.column(place)).collect();
            named.join(" and ")
        }
        At::Joined(join, place) => table.joined[*join].column(*place),
        At::Title(_) => "title".to_owned(),
        At::Fixed(_, cell) => cell.clone(),
    }
}

fn column_use(table: &Table<'_>, column: String, header: String, becomes: String) -> ColumnUse {
    ColumnUse {
        sheet: table.sheet.to_owned(),
        column,
        header,
        becomes,
    }
}

/// The member of a field and what is done with its cells.
fn becomes(field: &Field) -> String {
    let reading = &field.reading;
    let mut parts = vec![pointer(field)];
    if let Some(unit) = &reading.unit {
        parts.push(format!("in {}", unit.code));
        let factor = unit.convert(1.0);
        if factor != 1.0 {
            parts.push(format!("times {factor}"));
        }
        parts.extend(unit.per.map(|per| format!("per {per}")));
    }
    if reading.unit_in_cell {
        parts.push("unit in the cell".to_owned());
    }
    if reading.angle.dms {
        parts.push("degrees with minutes or letters".to_owned());
    }
    if reading.utm.is_some() {
        parts.push("meters of a UTM zone".to_owned());
    }
    if !reading.date.formats.is_empty() {
        parts.push(format!("dates as {}", reading.date.formats.join(" or ")));
    }
    if !reading.values.is_empty() {
        let values: Vec<String> = reading
            .values
            .iter()
            .map(|(text, value)| format!("{text} = {value}"))
            .collect();
        parts.push(format!("codes {}", values.join(", ")));
    }
    if let Some(default) = &field.default {
        parts.push(format!("blank is {default}"));
    }
    if field.fill_down {
        parts.push("blank repeats the cell above".to_owned());
    }
    parts.join(", ")
}

/// The pointer of a field's member, with the numbers that the mapping gives.
fn pointer(field: &Field) -> String {
    let member = field.reading.member;
    let Keys { site, unit, part } = &field.keys;
    let mut pointer = member.pointer.to_owned();
    if member.level == Level::Index {
        return format!("the number of the {}", pointer.trim_matches(['{', '}']));
    }
    let given = [
        ("{site}", site),
        ("{head}", unit),
        ("{plant}", unit),
        ("{trap}", unit),
        ("{bract}", part),
    ];
    for (placeholder, key) in given {
        if let Some(key) = key {
            pointer = pointer.replace(placeholder, key);
        }
    }
    pointer
}
