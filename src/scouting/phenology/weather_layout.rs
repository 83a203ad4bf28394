//! The layouts of weather files: what a row says of a station and a day. It opens no file and fills no gap;
//! that is [`super::weather`].
//!
//! Three layouts are read:
//!
//! - **GHCN-Daily rows**, the by-year and by-station files of the Global Historical Climatology Network –
//!   Daily: `ID,YYYYMMDD,ELEMENT,VALUE,M-FLAG,Q-FLAG,S-FLAG,OBS-TIME`, with or without a header; temperatures
//!   in tenths of a degree Celsius, `-9999` for none, a quality flag that is not blank for a value that failed
//!   a check. Source: NOAA's readme-by_station.txt and readme.txt, section III.
//! - **GHCN-Daily columns**, the station files of NOAA's access folder: `STATION,DATE,LATITUDE,LONGITUDE,
//!   ELEVATION,NAME`, then for each element a column of values, in the same tenths, and one of attributes,
//!   `M,Q,S` with the time of observation after it where it is known.
//! - **Plain columns**: `date` with `tmin_c` and `tmax_c`, or with `tmin_f` and `tmax_f`, and `station` if
//!   there are several; or with `tmin` and `tmax`, whose unit the office says, as files ordered from NOAA's web form have
//!   them. Where these have columns of attributes, `tmin_attributes` and `tmax_attributes`, a value that failed a check is
//!   left out. Other columns are not looked at.

use csv::StringRecord;
use jiff::civil::Date;
use serde::Deserialize;

use super::degree_days::{AIR_C, celsius};

/// What prevents the reading of a row, and how to correct it.
#[derive(Debug, PartialEq)]
pub(super) struct Trouble {
    pub what: String,
    pub mend: &'static str,
}

impl Trouble {
    pub(crate) fn new(what: impl Into<String>, mend: &'static str) -> Trouble {
        Trouble {
            what: what.into(),
            mend,
        }
    }
}

const MEND_VALUE: &str =
    "correct the value, or leave the cell empty so that the day counts as missing";
const MEND_VALUE_OR_UNIT: &str = "correct the value, or leave the cell empty so that the day counts as missing; if the file is in degrees Fahrenheit, name its columns tmin_f and tmax_f, or write [weather] temperature_unit = \"F\" for columns tmin and tmax";
const MEND_UNIT: &str = "say the unit: [weather] temperature_unit = \"F\" (or \"C\") in bractline.toml, or name the columns tmin_f and tmax_f for degrees Fahrenheit, tmin_c and tmax_c for Celsius";
const MEND_CONTRADICTED: &str = "take [weather] temperature_unit out of bractline.toml, or give the file that it was written for";
const MEND_LAYOUT: &str = "give GHCN-Daily CSV, or columns date, tmin_c, tmax_c apart by commas";
const MEND_DATE: &str = "write dates as 2026-07-21 (GHCN-Daily rows: 20260721)";

/// The unit of temperatures in a file, as an office says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum TemperatureUnit {
    /// Degrees Celsius.
    C,
    /// Degrees Fahrenheit.
    F,
}

impl TemperatureUnit {
    /// Its sign.
    pub(super) fn sign(self) -> &'static str {
        match self {
            TemperatureUnit::C => "\u{b0}C",
            TemperatureUnit::F => "\u{b0}F",
        }
    }
}

/// A temperature in a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Reading {
    /// There is none.
    Absent,
    /// There is one, and its source says that it failed a quality check.
    Failed,
    /// Degrees Celsius, in the range of air; whether it was read in the morning.
    Read { value_c: f64, in_the_morning: bool },
}

/// What a row says.
#[derive(Debug, PartialEq)]
pub(super) struct Row<'a> {
    pub station: &'a str,
    pub date: Date,
    pub min: Reading,
    pub max: Reading,
}

/// Where a layout has what.
#[derive(Debug, PartialEq)]
pub(super) enum Layout {
    GhcnRows,
    GhcnColumns {
        /// Value and attributes.
        min: (usize, usize),
        max: (usize, usize),
    },
    Plain {
        station: Option<usize>,
        date: usize,
        min: PlainColumn,
        max: PlainColumn,
        unit: TemperatureUnit,
    },
}

/// A column of temperatures, and the one of its attributes, if there is one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct PlainColumn {
    value: usize,
    attributes: Option<usize>,
}

/// First columns of the files in NOAA's access folder. Files ordered from its web form have them in another
/// order, and their unit is the one that was chosen there: nothing in them says which.
const ACCESS: [&str; 6] = [
    "station",
    "date",
    "latitude",
    "longitude",
    "elevation",
    "name",
];
const GHCN_ROWS: [&str; 4] = ["id", "date", "element", "data_value"];

impl Layout {
    /// The layout of a file by its first row, and whether that row is a header. `unit` is that of columns which do not
    /// say theirs; a file that says another is refused, since one of the two is wrong.
    pub(crate) fn of(
        first: &StringRecord,
        unit: Option<TemperatureUnit>,
    ) -> Result<(Layout, bool), Trouble> {
        let found = Layout::by_first_row(first, unit)?;
        let of_file = match &found.0 {
            Layout::GhcnRows | Layout::GhcnColumns { .. } => TemperatureUnit::C,
            Layout::Plain { unit, .. } => *unit,
        };
        match unit.filter(|unit| *unit != of_file) {
            None => Ok(found),
            Some(unit) => Err(Trouble::new(
                format!(
                    "the file is in {} by its columns, and [weather] temperature_unit says {}",
                    of_file.sign(),
                    unit.sign()
                ),
                MEND_CONTRADICTED,
            )),
        }
    }

    fn by_first_row(
        first: &StringRecord,
        unit: Option<TemperatureUnit>,
    ) -> Result<(Layout, bool), Trouble> {
        let header: Vec<String> = first
            .iter()
            .map(|name| name.trim().to_lowercase())
            .collect();
        if header.starts_with(&GHCN_ROWS.map(str::to_owned)) {
            return Ok((Layout::GhcnRows, true));
        }
        if header.len() >= 6 && header[0].len() == 11 && ghcn_date(&header[1]).is_some() {
            return Ok((Layout::GhcnRows, false));
        }
        let column = |name: &str| header.iter().position(|column| column == name);
        let temperatures = header
            .iter()
            .filter(|name| name.starts_with("tmin") || name.starts_with("tmax"));
        if let Some(twice) = temperatures
            .clone()
            .find(|name| temperatures.clone().filter(|other| other == name).count() > 1)
        {
            return Err(Trouble::new(
                format!("the header has the column {twice:.20} twice"),
                "keep one column of each name",
            ));
        }
        if header.starts_with(&ACCESS.map(str::to_owned)) {
            let pair = |name: &str| Some((column(name)?, column(&format!("{name}_attributes"))?));
            return match (pair("tmin"), pair("tmax")) {
                (Some(min), Some(max)) => Ok((Layout::GhcnColumns { min, max }, true)),
                _ => Err(Trouble::new(
                    "this station file has no TMIN, TMAX and their attributes",
                    "take a station that measures minimum and maximum temperature",
                )),
            };
        }
        plain(&header, unit).map(|layout| (layout, true))
    }

    /// What a row says, if it concerns temperature and, where stations are named, one of them. `file_station`
    /// is the station of a file that names none.
    pub(crate) fn row<'a>(
        &self,
        cells: &'a StringRecord,
        file_station: &'a str,
        only: &[String],
    ) -> Result<Option<Row<'a>>, Trouble> {
        let wanted = |station: &str| only.is_empty() || only.iter().any(|name| name == station);
        match self {
            Layout::GhcnRows => ghcn_row(cells, wanted),
            Layout::GhcnColumns { min, max } => {
                let station = cell(cells, 0)?;
                if !wanted(station) {
                    return Ok(None);
                }
                let reading = |(value, attributes): (usize, usize)| {
                    let mut flags = cell(cells, attributes)?.split(',').skip(1);
                    let quality = flags.next().unwrap_or_default();
                    tenths(
                        cell(cells, value)?,
                        quality,
                        flags.nth(1).unwrap_or_default(),
                    )
                };
                Ok(Some(Row {
                    station,
                    date: iso_date(cell(cells, 1)?)?,
                    min: reading(*min)?,
                    max: reading(*max)?,
                }))
            }
            Layout::Plain {
                station,
                date,
                min,
                max,
                unit,
            } => {
                let station = station.map_or(Ok(file_station), |column| cell(cells, column))?;
                if !wanted(station) {
                    return Ok(None);
                }
                let reading = |column: PlainColumn| {
                    let value = cell(cells, column.value)?;
                    let attributes = column.attributes.map(|place| cell(cells, place));
                    let attributes = attributes.transpose()?.unwrap_or_default();
                    let mut flags = attributes.split(',').skip(1);
                    if flags
                        .next()
                        .is_some_and(|quality| !quality.trim().is_empty())
                    {
                        return Ok(Reading::Failed);
                    }
                    let time = flags.nth(1).unwrap_or_default();
                    degrees(value, *unit, is_morning(time))
                };
                Ok(Some(Row {
                    station,
                    date: iso_date(cell(cells, *date)?)?,
                    min: reading(*min)?,
                    max: reading(*max)?,
                }))
            }
        }
    }
}

/// Plain columns by their header, in small letters.
fn plain(header: &[String], unit: Option<TemperatureUnit>) -> Result<Layout, Trouble> {
    let column = |name: &str| header.iter().position(|column| column == name);
    let Some(date) = column("date") else {
        return Err(Trouble::new(
            "no layout of a weather file has this first row",
            MEND_LAYOUT,
        ));
    };
    let one = |name: &str| {
        Some(PlainColumn {
            value: column(name)?,
            attributes: column(&format!("{name}_attributes")),
        })
    };
    let pair = |ending: &str| {
        Some((
            one(&format!("tmin{ending}"))?,
            one(&format!("tmax{ending}"))?,
        ))
    };
    let ((min, max), unit) = match (pair("_c"), pair("_f"), pair("")) {
        (Some(_), Some(_), _) => {
            return Err(Trouble::new(
                "the file has its temperatures in Celsius and in Fahrenheit",
                "keep one pair of columns",
            ));
        }
        (Some(pair), None, _) => (pair, TemperatureUnit::C),
        (None, Some(pair), _) => (pair, TemperatureUnit::F),
        (None, None, Some(pair)) => {
            let unit = unit.ok_or_else(|| {
                Trouble::new("the columns tmin and tmax do not say their unit", MEND_UNIT)
            })?;
            (pair, unit)
        }
        (None, None, None) => {
            return Err(Trouble::new(
                "there is no pair of columns tmin_c and tmax_c, tmin_f and tmax_f, or tmin and tmax",
                MEND_UNIT,
            ));
        }
    };
    Ok(Layout::Plain {
        station: column("station"),
        date,
        min,
        max,
        unit,
    })
}

/// A row of one element.
fn ghcn_row<'a>(
    cells: &'a StringRecord,
    wanted: impl Fn(&str) -> bool,
) -> Result<Option<Row<'a>>, Trouble> {
    let (station, element) = (cell(cells, 0)?, cell(cells, 2)?);
    if !matches!(element, "TMIN" | "TMAX") || !wanted(station) {
        return Ok(None);
    }
    let date = cell(cells, 1)?;
    let date = ghcn_date(date)
        .ok_or_else(|| Trouble::new(format!("\"{date:.20}\" is no date"), MEND_DATE))?;
    let time = cells.get(7).unwrap_or_default();
    let reading = tenths(cell(cells, 3)?, cell(cells, 5)?, time)?;
    let (min, max) = match element {
        "TMIN" => (reading, Reading::Absent),
        _ => (Reading::Absent, reading),
    };
    Ok(Some(Row {
        station,
        date,
        min,
        max,
    }))
}

fn cell(cells: &StringRecord, column: usize) -> Result<&str, Trouble> {
    let cell = cells.get(column).map(str::trim);
    cell.ok_or_else(|| {
        Trouble::new(
            format!(
                "the row has {} cells, and number {} is looked for",
                cells.len(),
                column + 1
            ),
            "give every row the cells of the header, or take out a row that was cut off",
        )
    })
}

/// A temperature in tenths of a degree Celsius with its quality flag and, where known, its time, `0700`.
fn tenths(value: &str, quality: &str, time: &str) -> Result<Reading, Trouble> {
    if value.is_empty() || value == "-9999" {
        return Ok(Reading::Absent);
    }
    let whole: i32 = value.parse().map_err(|_| {
        Trouble::new(
            format!("\"{value:.20}\" is not a whole number of tenths of a degree Celsius, as GHCN-Daily has it"),
            "take the file as NOAA's archive has it; for temperatures in whole degrees give columns date, tmin_c, tmax_c",
        )
    })?;
    // What failed a check may be out of all range: it is left out before it is looked at.
    if !quality.trim().is_empty() {
        return Ok(Reading::Failed);
    }
    read(f64::from(whole) / 10.0, is_morning(time))
}

/// Whether a value was read before noon: 2400 is midnight; an hour that is not known is blank.
fn is_morning(time: &str) -> bool {
    matches!(time.trim().parse::<u16>(), Ok(1..1200))
}

/// A temperature in degrees.
fn degrees(text: &str, unit: TemperatureUnit, in_the_morning: bool) -> Result<Reading, Trouble> {
    if text.is_empty() {
        return Ok(Reading::Absent);
    }
    let value: f64 = text
        .parse()
        .map_err(|_| Trouble::new(format!("\"{text:.20}\" is no temperature"), MEND_VALUE))?;
    let value_c = match unit {
        TemperatureUnit::C => value,
        TemperatureUnit::F => celsius(value),
    };
    read(value_c, in_the_morning).map_err(|trouble| match unit {
        TemperatureUnit::C => Trouble {
            mend: MEND_VALUE_OR_UNIT,
            ..trouble
        },
        TemperatureUnit::F => trouble,
    })
}

fn read(value_c: f64, in_the_morning: bool) -> Result<Reading, Trouble> {
    let [lowest, highest] = AIR_C;
    if !(lowest..=highest).contains(&value_c) {
        let what =
            format!("a temperature of {value_c:.1} °C is not between {lowest} and {highest} °C");
        return Err(Trouble::new(what, MEND_VALUE));
    }
    Ok(Reading::Read {
        value_c,
        in_the_morning,
    })
}

/// Years that a weather record can have: thermometers are younger than the first.
const YEARS: std::ops::RangeInclusive<i16> = 1650..=2200;

/// `20260721`.
fn ghcn_date(text: &str) -> Option<Date> {
    if text.len() != 8 || !text.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let date = Date::new(
        text[..4].parse().ok()?,
        text[4..6].parse().ok()?,
        text[6..].parse().ok()?,
    );
    date.ok().filter(|date| YEARS.contains(&date.year()))
}

/// `2026-07-21`.
fn iso_date(text: &str) -> Result<Date, Trouble> {
    let date = (text.len() == 10)
        .then(|| text.parse::<Date>().ok())
        .flatten();
    date.filter(|date| YEARS.contains(&date.year()))
        .ok_or_else(|| Trouble::new(format!("\"{text:.20}\" is no date"), MEND_DATE))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(row: &str) -> StringRecord {
        row.split(',').collect()
    }

    #[test]
    fn each_layout_is_known_by_its_first_row() {
        let by_year = cells("USC00000001,20260701,TMAX,289,,,7,0700");
        assert_eq!(Layout::of(&by_year, None), Ok((Layout::GhcnRows, false)));
        let header = cells("ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME");
        assert_eq!(Layout::of(&header, None), Ok((Layout::GhcnRows, true)));
        let access = cells(
            "STATION,DATE,LATITUDE,LONGITUDE,ELEVATION,NAME,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES",
        );
        let columns = Layout::GhcnColumns {
            min: (8, 9),
            max: (6, 7),
        };
        assert_eq!(Layout::of(&access, None), Ok((columns, true)));
    }

    #[test]
    fn temperatures_without_a_unit_are_not_guessed() {
        for header in [
            "date,tmin,tmax",
            "station,name,latitude,longitude,elevation,date,tmax,tmin",
            "date,tmin_c,tmax",
            "date,tmin_c,tmax_f",
            "date;tmin_c;tmax_c",
            "date,tmin_c,tmax_c,tmin_f,tmax_f",
            "date,tmin_c,tmin_c,tmax_c",
            "day,tmin_c,tmax_c",
        ] {
            assert!(Layout::of(&cells(header), None).is_err(), "{header}");
        }
        let bare = Layout::of(&cells("date,tmin,tmax"), None).unwrap_err();
        assert!(bare.what.contains("do not say their unit"), "{bare:?}");
        assert!(bare.mend.contains("temperature_unit = \"F\""), "{bare:?}");
    }

    #[test]
    fn a_unit_that_is_said_twice_must_be_the_same() {
        let of = |header: &str, unit| Layout::of(&cells(header), Some(unit));
        let (c, f) = (TemperatureUnit::C, TemperatureUnit::F);
        for unit in [c, f] {
            assert!(of("date,tmin,tmax", unit).is_ok());
            assert!(of("STATION,NAME,DATE,TMAX,TMIN", unit).is_ok());
        }
        assert!(of("date,tmin_c,tmax_c", c).is_ok() && of("date,tmin_f,tmax_f", f).is_ok());
        let archive = "STATION,DATE,LATITUDE,LONGITUDE,ELEVATION,NAME,TMAX,TMAX_ATTRIBUTES,TMIN,TMIN_ATTRIBUTES";
        let rows = "USC00000001,20260701,TMAX,289,,,7,0700";
        for (header, unit) in [
            ("date,tmin_c,tmax_c", f),
            ("date,tmin_f,tmax_f", c),
            (archive, f),
            (rows, f),
        ] {
            let refused = of(header, unit).unwrap_err();
            assert!(
                refused.what.contains("temperature_unit says"),
                "{header}: {refused:?}"
            );
        }
        assert!(of(archive, c).is_ok() && of(rows, c).is_ok());
    }

    #[test]
    fn a_flagged_value_is_left_out_and_an_observer_of_the_morning_is_noticed() {
        assert_eq!(tenths("9990", "I", ""), Ok(Reading::Failed));
        assert_eq!(tenths("-9999", "", ""), Ok(Reading::Absent));
        let read = |value_c, in_the_morning| {
            Ok(Reading::Read {
                value_c,
                in_the_morning,
            })
        };
        assert_eq!(tenths("-50", " ", "0700"), read(-5.0, true));
        assert_eq!(tenths("289", "", "2400"), read(28.9, false));
        assert!(tenths("28.9", "", "").is_err());
        assert!(tenths("990", "", "").is_err());
        for text in ["NaN", "inf", "1e3", "warm"] {
            assert!(degrees(text, TemperatureUnit::C, false).is_err(), "{text}");
        }
        let degrees = |text, unit| degrees(text, unit, false);
        let (c, f) = (TemperatureUnit::C, TemperatureUnit::F);
        assert_eq!(degrees("122", f), degrees("50", c));
        assert_eq!(degrees("50", f), read(10.0, false));
    }

    #[test]
    fn dates_are_days_of_the_calendar() {
        for text in [
            "20260230",
            "2026721",
            "2026-7-1",
            "18121332",
            "abcdefgh",
            "９９９",
        ] {
            assert_eq!(ghcn_date(text), None, "{text}");
        }
        for text in ["07/21/2026", "2026-02-30", "0001-01-01", "2026-07-21T10:00"] {
            assert!(iso_date(text).is_err(), "{text}");
        }
    }
}
