//! A county-week: one row of the public roll-up table, as `publish` reads it.
//!
//! It checks that a row does not contradict itself; every figure was computed in `pipeline/stages`.

use arrow::array::RecordBatch;
use jiff::civil::Date;

use super::county_week_rows::Columns;
use crate::failure::{Failure, Kind};
use crate::visit::week::IsoWeek;

/// What the roll-up says of one county in one ISO week under one protocol. A row exists only for a
/// county-week that has visits. Every figure is `None` in a suppressed row, and every figure but
/// the counts of fields where no field lay in the stage window.
#[derive(Debug, Clone, PartialEq)]
pub struct CountyWeek {
    /// Identity of the county within its region.
    pub county_id: String,
    /// The name that people know it by.
    pub county_name: String,
    /// The ISO week-year.
    pub season: i32,
    /// ISO 8601 week, as `2026-W30`.
    pub iso_week: String,
    /// A protocol's id.
    pub protocol: String,
    /// Fields with a visit within the stage window.
    pub fields_visited: Option<i64>,
    /// Fields whose pressure is 1 or more.
    pub fields_at_threshold: Option<i64>,
    /// Fields whose 95 % interval covers their threshold.
    pub fields_near_threshold: Option<i64>,
    /// Fields at threshold ÷ fields visited, 0 to 1.
    pub share_at_threshold: Option<f64>,
    /// Lower end of the 95 % Wilson score interval of the share.
    pub share_low: Option<f64>,
    /// Upper end of the 95 % Wilson score interval of the share.
    pub share_high: Option<f64>,
    /// The share drawn toward the neighbours' (empirical Bayes); `None` without a neighbour shown too.
    pub share_smoothed: Option<f64>,
    /// Mean of the fields' pressures; 1 = at threshold.
    pub mean_pressure: Option<f64>,
    /// Median of the fields' pressures.
    pub median_pressure: Option<f64>,
    /// Ninth decile of the fields' pressures.
    pub p90_pressure: Option<f64>,
    /// Greatest of the fields' pressures.
    pub max_pressure: Option<f64>,
    /// Hectares at threshold ÷ hectares visited, 0 to 1.
    pub area_share_at_threshold: Option<f64>,
    /// Fields that had only visits outside the stage window.
    pub fields_outside_stage: Option<i64>,
    /// Fields visited whose threshold rests on economics that the workspace assumed.
    pub fields_with_assumed_economics: Option<i64>,
    /// First day on which a field visited is expected at the treatment stage.
    pub window_opens: Option<Date>,
    /// Last such day.
    pub window_closes: Option<Date>,
    /// What these days rest on: `weather`, `days` (ranges of the protocol) or `both`.
    pub window_basis: Option<String>,
    /// Whether the figures are withheld because the group is too small.
    pub suppressed: bool,
}

/// What a reader must be able to tell apart about a county-week that has visits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cell {
    /// Too few fields or farms to show: nothing is said about pressure.
    Suppressed,
    /// Fields were visited, all of them outside the stage window.
    OutsideStage,
    /// Fields were visited within the window and nothing was found in any.
    NoneFound,
    /// Something was found; the median of the fields' pressures, which may be 0.
    Pressure(f64),
}

/// The figures of a county-week that has some, without the possibility that one is missing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figures {
    /// Fields with a visit within the stage window, at least 1.
    pub fields_visited: i64,
    /// Fields whose pressure is 1 or more.
    pub fields_at_threshold: i64,
    /// Fields whose 95 % interval covers their threshold.
    pub fields_near_threshold: i64,
    /// Fields at threshold ÷ fields visited, 0 to 1.
    pub share_at_threshold: f64,
    /// Lower end of the 95 % interval of the share.
    pub share_low: f64,
    /// Upper end of the 95 % interval of the share.
    pub share_high: f64,
    /// Median of the fields' pressures.
    pub median_pressure: f64,
    /// Greatest of the fields' pressures.
    pub max_pressure: f64,
    /// Fields visited whose threshold rests on assumed economics.
    pub fields_with_assumed_economics: i64,
}

impl CountyWeek {
    /// The rows of the roll-up table, in its order. Text may be of any Arrow string type, numbers
    /// of any width.
    ///
    /// # Errors
    /// A [`Failure`] that names the column, if one is missing or of another kind, and one that
    /// names the county-week, if a row contradicts itself.
    pub fn from_batches(batches: &[RecordBatch]) -> Result<Vec<CountyWeek>, Failure> {
        let mut rows = Vec::new();
        for batch in batches {
            let columns = Columns::of(batch)?;
            for place in 0..batch.num_rows() {
                let row = CountyWeek::decode(&columns, place);
                row.check()?;
                rows.push(row);
            }
        }
        Ok(rows)
    }

    /// What the row says, told apart.
    pub fn cell(&self) -> Cell {
        match self.figures() {
            _ if self.suppressed => Cell::Suppressed,
            None => Cell::OutsideStage,
            Some(figures) if figures.max_pressure == 0.0 => Cell::NoneFound,
            Some(figures) => Cell::Pressure(figures.median_pressure),
        }
    }

    /// The figures, unless the row is suppressed or all its fields lay outside the stage window.
    pub fn figures(&self) -> Option<Figures> {
        let figures = Figures {
            fields_visited: self.fields_visited?,
            fields_at_threshold: self.fields_at_threshold?,
            fields_near_threshold: self.fields_near_threshold?,
            share_at_threshold: self.share_at_threshold?,
            share_low: self.share_low?,
            share_high: self.share_high?,
            median_pressure: self.median_pressure?,
            max_pressure: self.max_pressure?,
            fields_with_assumed_economics: self.fields_with_assumed_economics?,
        };
        (!self.suppressed && figures.fields_visited > 0).then_some(figures)
    }

    fn decode(columns: &Columns, row: usize) -> CountyWeek {
        let count = |name| columns.count(name, row);
        let float = |name| columns.float(name, row);
        CountyWeek {
            county_id: columns.text("county_id", row),
            county_name: columns.text("county_name", row),
            // What is no year of 32 bits is not the year of the week either: the check says so.
            season: count("season")
                .map_or(i32::MAX, |year| i32::try_from(year).unwrap_or(i32::MAX)),
            iso_week: columns.text("iso_week", row),
            protocol: columns.text("protocol", row),
            fields_visited: count("fields_visited"),
            fields_at_threshold: count("fields_at_threshold"),
            fields_near_threshold: count("fields_near_threshold"),
            share_at_threshold: float("share_at_threshold"),
            share_low: float("share_low"),
            share_high: float("share_high"),
            share_smoothed: float("share_smoothed"),
            mean_pressure: float("mean_pressure"),
            median_pressure: float("median_pressure"),
            p90_pressure: float("p90_pressure"),
            max_pressure: float("max_pressure"),
            area_share_at_threshold: float("area_share_at_threshold"),
            fields_outside_stage: count("fields_outside_stage"),
            fields_with_assumed_economics: count("fields_with_assumed_economics"),
            window_opens: columns.day("window_opens", row),
            window_closes: columns.day("window_closes", row),
            window_basis: columns.text_or_none("window_basis", row),
            suppressed: columns.truth("suppressed", row),
        }
    }

    fn floats(&self) -> [Option<f64>; 9] {
        [
            self.share_smoothed,
            self.share_at_threshold,
            self.share_low,
            self.share_high,
            self.mean_pressure,
            self.median_pressure,
            self.p90_pressure,
            self.max_pressure,
            self.area_share_at_threshold,
        ]
    }

    fn counts(&self) -> [Option<i64>; 5] {
        [
            self.fields_visited,
            self.fields_at_threshold,
            self.fields_near_threshold,
            self.fields_outside_stage,
            self.fields_with_assumed_economics,
        ]
    }

    /// A page must not be built on a row that contradicts itself, least of all on a suppressed
    /// row that still carries a figure.
    fn check(&self) -> Result<(), Failure> {
        let visited = self.fields_visited.unwrap_or(0);
        let days = [self.window_opens, self.window_closes];
        let broken = if days_of_week(&self.iso_week).is_none() {
            "its week is not an ISO 8601 week such as 2026-W30"
        } else if !self.iso_week.starts_with(&format!("{:04}-", self.season)) {
            "its season is not the year of its week"
        } else if self.floats().iter().flatten().any(|x| !x.is_finite()) {
            "a figure is not a finite number"
        } else if self.suppressed {
            let figures = self.floats().iter().flatten().count();
            let figures = figures + days.iter().flatten().count();
            let figures = figures + usize::from(self.window_basis.is_some());
            match figures + self.counts().iter().flatten().count() {
                0 => return Ok(()),
                _ => "it is suppressed and still carries a figure",
            }
        } else if self.counts().iter().flatten().any(|count| *count < 0) {
            "a count is negative"
        } else if visited > 0 && self.figures().is_none() {
            "it has visited fields and lacks a figure"
        } else if self.fields_at_threshold.unwrap_or(0) > visited {
            "it has more fields at threshold than fields visited"
        } else if self.fields_near_threshold.unwrap_or(0) > visited {
            "it has more fields near threshold than fields visited"
        } else if self.fields_with_assumed_economics.unwrap_or(0) > visited {
            "it has more fields with assumed economics than fields visited"
        } else if self.window_opens > self.window_closes || (days[0].is_none() != days[1].is_none())
        {
            "its spray window closes before it opens, or has one end"
        } else if visited == 0 && self.floats().iter().any(Option::is_some) {
            "it has no visited field and still carries a figure"
        } else {
            return Ok(());
        };
        Err(Failure::new(
            Kind::Stage,
            format!("a county-week cannot be used: {broken}"),
        )
        .at(format!(
            "county {}, {}, {}",
            self.county_id, self.iso_week, self.protocol
        )))
    }
}

/// Monday and Sunday of an ISO 8601 week such as `2026-W30`; `None` if there is no such week.
pub fn days_of_week(iso_week: &str) -> Option<(Date, Date)> {
    let week: IsoWeek = iso_week.parse().ok()?;
    Some((week.monday(), week.sunday()))
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use arrow::array::{
        ArrayRef, BooleanArray, Date32Array, Float32Array, Float64Array, Int32Array, NullArray,
        StringArray, StringViewArray, UInt64Array,
    };

    use super::*;

    /// One row with figures, in the types that an engine may hand out.
    fn columns() -> Vec<(&'static str, ArrayRef)> {
        let float = |value| Arc::new(Float64Array::from(vec![value])) as ArrayRef;
        vec![
            ("county_id", Arc::new(StringViewArray::from(vec!["001"]))),
            ("county_name", Arc::new(StringArray::from(vec!["Alder"]))),
            ("season", Arc::new(Int32Array::from(vec![2026]))),
            ("iso_week", Arc::new(StringArray::from(vec!["2026-W30"]))),
            ("protocol", Arc::new(StringArray::from(vec!["bsm-eggs"]))),
            ("fields_visited", Arc::new(UInt64Array::from(vec![4]))),
            ("fields_at_threshold", Arc::new(Int32Array::from(vec![1]))),
            ("fields_near_threshold", Arc::new(Int32Array::from(vec![2]))),
            ("share_at_threshold", float(0.25)),
            ("share_low", float(0.05)),
            ("share_high", float(0.7)),
            ("share_smoothed", float(0.3)),
            ("mean_pressure", float(0.5)),
            ("median_pressure", Arc::new(Float32Array::from(vec![0.5]))),
            ("p90_pressure", float(1.0)),
            ("max_pressure", float(1.25)),
            ("area_share_at_threshold", float(0.2)),
            ("fields_outside_stage", Arc::new(Int32Array::from(vec![2]))),
            (
                "fields_with_assumed_economics",
                Arc::new(Int32Array::from(vec![3])),
            ),
            // 27 July and 12 August 2026, in days since 1970.
            ("window_opens", Arc::new(Date32Array::from(vec![20_661]))),
            ("window_closes", Arc::new(Date32Array::from(vec![20_677]))),
            ("window_basis", Arc::new(StringArray::from(vec!["days"]))),
            ("suppressed", Arc::new(BooleanArray::from(vec![false]))),
        ]
    }

    fn decode(replaced: Vec<(&'static str, ArrayRef)>) -> Result<CountyWeek, Failure> {
        let mut columns = columns();
        for (name, column) in replaced {
            let place = columns.iter().position(|(other, _)| *other == name);
            columns[place.expect("a column of the table")].1 = column;
        }
        let batch = RecordBatch::try_from_iter(columns).expect("columns of one length");
        CountyWeek::from_batches(&[batch]).map(|mut rows| rows.remove(0))
    }

    fn nothing() -> ArrayRef {
        Arc::new(NullArray::new(1))
    }

    /// The first is the number of fields visited, and the two last are counts too.
    const FIGURES: [&str; 17] = [
        "fields_visited",
        "fields_at_threshold",
        "fields_near_threshold",
        "window_opens",
        "window_closes",
        "window_basis",
        "share_at_threshold",
        "share_low",
        "share_high",
        "share_smoothed",
        "mean_pressure",
        "median_pressure",
        "p90_pressure",
        "max_pressure",
        "area_share_at_threshold",
        "fields_outside_stage",
        "fields_with_assumed_economics",
    ];

    #[test]
    fn a_row_is_decoded_by_name_from_any_width() {
        let row = decode(vec![]).expect("a good row");
        assert_eq!((&*row.county_id, &*row.county_name), ("001", "Alder"));
        assert_eq!(row.fields_visited, Some(4));
        assert_eq!(row.median_pressure, Some(0.5));
        assert_eq!(row.cell(), Cell::Pressure(0.5));
    }

    #[test]
    fn the_four_kinds_of_row_are_told_apart() {
        let hidden = Arc::new(BooleanArray::from(vec![true])) as ArrayRef;
        let mut suppressed: Vec<_> = FIGURES.map(|name| (name, nothing())).into();
        suppressed.push(("suppressed", hidden));
        assert_eq!(
            decode(suppressed).expect("suppressed").cell(),
            Cell::Suppressed
        );

        let zero = || Arc::new(Int32Array::from(vec![0])) as ArrayRef;
        let mut outside: Vec<_> = FIGURES[1..15]
            .iter()
            .map(|name| (*name, nothing()))
            .collect();
        outside.push(("fields_visited", zero()));
        outside.push(("fields_with_assumed_economics", zero()));
        assert_eq!(decode(outside).expect("outside").cell(), Cell::OutsideStage);

        let none = || Arc::new(Float64Array::from(vec![0.0])) as ArrayRef;
        let empty = vec![("max_pressure", none()), ("median_pressure", none())];
        assert_eq!(decode(empty).expect("none found").cell(), Cell::NoneFound);

        let half_empty = decode(vec![("median_pressure", none())]).expect("some found");
        assert_eq!(half_empty.cell(), Cell::Pressure(0.0));
    }

    #[test]
    fn a_row_that_contradicts_itself_is_refused() {
        let float = |value: f64| Arc::new(Float64Array::from(vec![value])) as ArrayRef;
        let whole = |value: i32| Arc::new(Int32Array::from(vec![value])) as ArrayRef;
        let text = |value: &str| Arc::new(StringArray::from(vec![value])) as ArrayRef;
        let hidden = Arc::new(BooleanArray::from(vec![true])) as ArrayRef;
        for (name, column, says) in [
            ("max_pressure", float(f64::NAN), "finite"),
            ("share_low", float(f64::INFINITY), "finite"),
            ("suppressed", hidden, "suppressed and still carries"),
            ("median_pressure", nothing(), "lacks a figure"),
            ("fields_at_threshold", whole(5), "more fields at threshold"),
            ("fields_outside_stage", whole(-1), "negative"),
            ("fields_with_assumed_economics", whole(5), "assumed"),
            ("fields_near_threshold", whole(5), "near threshold"),
            ("window_closes", nothing(), "one end"),
            (
                "window_opens",
                Arc::new(Date32Array::from(vec![20_678])),
                "closes before",
            ),
            ("fields_visited", whole(0), "more fields at threshold"),
            ("iso_week", text("2026-W54"), "ISO 8601"),
            ("season", whole(2025), "year of its week"),
            ("season", text("2026"), "not a whole number"),
            ("max_pressure", text("1.25"), "not a floating number"),
            ("county_id", nothing(), "not a text"),
        ] {
            let failure = decode(vec![(name, column)]).expect_err(name);
            assert!(failure.to_string().contains(says), "{name}: {failure}");
        }
    }

    #[test]
    fn a_missing_column_is_named() {
        let all_but_one = columns()
            .into_iter()
            .filter(|(name, _)| *name != "share_low");
        let batch = RecordBatch::try_from_iter(all_but_one).expect("columns of one length");
        let failure = CountyWeek::from_batches(&[batch]).expect_err("a column is missing");
        assert!(
            failure.to_string().contains("share_low is missing"),
            "{failure}"
        );
    }
}
