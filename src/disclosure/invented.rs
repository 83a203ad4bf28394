//! Invented fields for tests, here and in crates that ask for the feature `invented`.

use jiff::civil::Date;

use super::field::{FieldWeek, GridPoint, Id};
use super::place::Place;
use super::public_row::{Heading, PublicRow, public_row};
use super::rule::{Level, Rule};
use scouting::visit::week::Weeks;

/// A field of a farm, in a county, with a pressure, within the stage window.
pub fn field(name: &str, farm: &str, county: &str, pressure: f64) -> FieldWeek {
    FieldWeek {
        field: Id::of(name),
        farm: Id::of_farm(farm),
        county_id: county.to_owned(),
        in_window: true,
        crop_stage: "R3".to_owned(),
        stage_place: 30,
        pressure,
        economics_assumed: false,
        treatment_days: None,
        window_basis: None,
        cell: Some(GridPoint {
            cell: "1.1".to_owned(),
            lon: 0.0,
            lat: 0.0,
            grid_km: 10.0,
        }),
    }
}

/// Fields of one county with these pressures, each of a farm of its own.
pub fn fields(pressures: &[f64]) -> Vec<FieldWeek> {
    let numbered = pressures.iter().enumerate();
    numbered
        .map(|(number, pressure)| {
            field(
                &format!("field {number}"),
                &format!("farm {number}"),
                "a",
                *pressure,
            )
        })
        .collect()
}

/// The public row of these fields, by the least of rules.
pub fn row_of(fields: &[FieldWeek], level: Level) -> PublicRow {
    row_in(fields, level, &Weeks::default())
}

/// The same where weeks have other days.
pub fn row_in(fields: &[FieldWeek], level: Level, weeks: &Weeks) -> PublicRow {
    let heading = Heading {
        place: &Place::Region,
        season: 2026,
        iso_week: "2026-W30",
        weeks,
        protocol: "bsm-eggs",
        visits_until: Date::constant(2026, 7, 27),
        farms_known: true,
    };
    let rule = Rule {
        level,
        ..Rule::LEAST
    };
    let fields: Vec<&FieldWeek> = fields.iter().collect();
    public_row(&heading, &fields, &rule).expect("a row of invented fields")
}
