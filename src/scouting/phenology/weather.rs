//! Daily minimum and maximum temperatures of stations from weather files. It computes no heat: that is
//! [`super::degree_days`]; what the rows of each layout mean is in `weather_layout`.
//!
//! Nothing is guessed: a value that failed its source's quality check is left out and counted, a value that
//! cannot be is refused with its line, a gap of up to three days is filled along a straight line and reported, and
//! a longer one stays a gap, after which no sum of heat is given.

use std::collections::BTreeMap;
use std::io::{self, BufRead, BufReader, Read};
use std::path::Path;

use csv::StringRecord;
use flate2::read::MultiGzDecoder;
use jiff::Span;
use jiff::civil::Date;

use super::degree_days::DayTemperatures;
pub use super::weather_layout::TemperatureUnit;
use super::weather_layout::{Layout, Reading, Trouble};
use crate::failure::{Failure, Kind};
use crate::plain_file::{Bounded, WEATHER_BYTES_MAX, open_plain};

/// Days in a row that are filled in at most. Our choice: weather keeps its character for some days.
pub const FILLED_MAX: usize = 3;

/// Bytes of a line at most: a row of a hundred elements has some thousand.
const LINE_MAX: u64 = 64 * 1024;

/// A station file in tenths whose summer is colder than this was written in whole degrees, °C. Our choice:
/// the warmest of at least ten days of June to August is above it wherever a crop is grown, south of the
/// equator too, and 88 °F or 31 °C read as tenths are below.
const SUMMER_MIN_C: f64 = 13.0;

/// A month whose days are on average warmer than these by day or by night was written in °F. Our choice: the hottest
/// months of inhabited places have means of about 50 °C by day and 35 °C by night (from memory), and no crop is grown
/// there, while April to October of the northern plains pass them in °F.
const MONTH_MAX_C: f64 = 50.0;
const MONTH_MIN_C: f64 = 36.0;
/// Days of a month that say something of it.
const DAYS_OF_MONTH_LEAST: usize = 10;

/// The temperatures of one station.
#[derive(Debug, Clone, PartialEq)]
pub struct WeatherSeries {
    /// The station's id, or the file's name where it names none.
    pub station: String,
    /// Minimum and maximum of every known day, filled ones included.
    pub days: BTreeMap<Date, DayTemperatures>,
    /// Days that were filled in between their neighbors.
    pub filled: Vec<Date>,
    /// Days between the first and the last that stay unknown.
    pub missing: Vec<Date>,
    /// Values left out because they failed a quality check of their source.
    pub left_out: usize,
    /// Values read before noon, whose maximum is mostly that of the day before. They are reported, not shifted.
    pub read_in_the_morning: usize,
}

/// The stations of a weather file, by their ids; `only` names those that are wanted, none for all. `unit` is that of
/// columns `tmin` and `tmax`, which do not say theirs.
///
/// Gzip files are known by their first bytes. A failure says the line, what is wrong there and how to correct it.
/// A named station without a day is a failure as well.
pub fn read_weather(
    path: &Path,
    only: &[String],
    unit: Option<TemperatureUnit>,
) -> Result<Vec<WeatherSeries>, Failure> {
    let unreadable = |error: io::Error| Failure::file("read", path, error);
    let mut file = BufReader::new(open_plain(path)?);
    let gzip = file
        .fill_buf()
        .map_err(unreadable)?
        .starts_with(&[0x1f, 0x8b]);
    let rows: Box<dyn Read> = match gzip {
        true => Box::new(Bounded::new(MultiGzDecoder::new(file), WEATHER_BYTES_MAX)),
        false => Box::new(file),
    };
    let name = path.file_name().and_then(|name| name.to_str());
    let file_station = name.and_then(|name| name.split('.').next());
    let mut lines = Lines::new(rows);
    let series = read_lines(&mut lines, file_station.unwrap_or("station"), only, unit);
    let series = series.map_err(|stop| match stop {
        Stop::Reading(error) => unreadable(error),
        Stop::Row { line, trouble } => Failure::new(Kind::Files, trouble.what)
            .at(format!("{}, line {line}", path.display()))
            .mend(trouble.mend),
    })?;
    let absent = only
        .iter()
        .find(|name| !series.iter().any(|series| series.station == **name));
    match absent {
        Some(name) => Err(Failure::new(
            Kind::Files,
            format!("the weather file has no minimum and maximum of station {name:.40}"),
        )
        .at(path.display().to_string())
        .mend("name a station as the file writes it")),
        None if series.is_empty() => Err(Failure::new(
            Kind::Files,
            "the weather file has no day with minimum and maximum",
        )
        .at(path.display().to_string())
        .mend("give a file with both temperatures of at least one day")),
        None => Ok(series),
    }
}

/// Why reading ended before the file did.
enum Stop {
    Reading(io::Error),
    Row { line: usize, trouble: Trouble },
}

/// What the rows of a station have said so far.
#[derive(Default)]
struct Station {
    days: BTreeMap<Date, [Option<Said>; 2]>,
    left_out: usize,
    read_in_the_morning: usize,
}

/// A value and the line that says it.
#[derive(Clone, Copy)]
struct Said {
    value_c: f64,
    line: usize,
}

fn read_lines(
    lines: &mut Lines,
    file_station: &str,
    only: &[String],
    unit: Option<TemperatureUnit>,
) -> Result<Vec<WeatherSeries>, Stop> {
    let mut stations: BTreeMap<String, Station> = BTreeMap::new();
    let mut cells = StringRecord::new();
    let mut layout = None;
    while let Some(line) = lines.next_into(&mut cells)? {
        let at_line = |trouble| Stop::Row { line, trouble };
        let known = match &layout {
            Some(known) => known,
            None => {
                let (found, is_header) = Layout::of(&cells, unit).map_err(at_line)?;
                let known = layout.insert(found);
                if is_header {
                    continue;
                }
                known
            }
        };
        let row = known.row(&cells, file_station, only).map_err(at_line)?;
        let Some(row) = row else { continue };
        let station = match stations.get_mut(row.station) {
            Some(station) => station,
            None => stations.entry(row.station.to_owned()).or_default(),
        };
        let said = [(0, row.min), (1, row.max)];
        for (extreme, reading) in said {
            station
                .note(row.date, extreme, reading, line)
                .map_err(at_line)?;
        }
    }
    let series = stations.into_iter().map(|(name, station)| {
        let series = station.finished(name)?;
        let what = layout
            .as_ref()
            .and_then(|layout| unbelievable(&series, layout));
        match what {
            None => Ok(series),
            Some(trouble) => Err(Stop::Row { line: 1, trouble }),
        }
    });
    let series: Vec<WeatherSeries> = series.collect::<Result<_, Stop>>()?;
    Ok(series
        .into_iter()
        .filter(|series| !series.days.is_empty())
        .collect())
}

impl Station {
    /// Keeps what a row says; the same value twice is no harm, two values for one day are.
    fn note(
        &mut self,
        date: Date,
        extreme: usize,
        reading: Reading,
        line: usize,
    ) -> Result<(), Trouble> {
        match reading {
            Reading::Absent => {}
            Reading::Failed => self.left_out += 1,
            Reading::Read {
                value_c,
                in_the_morning,
            } => {
                let kept = &mut self.days.entry(date).or_default()[extreme];
                if let Some(earlier) = kept.filter(|earlier| earlier.value_c != value_c) {
                    return Err(Trouble::new(
                        format!("{date} has another value in line {}", earlier.line),
                        "keep one value a station and day",
                    ));
                }
                if kept.is_none() {
                    self.read_in_the_morning += usize::from(in_the_morning);
                    *kept = Some(Said { value_c, line });
                }
            }
        }
        Ok(())
    }

    fn finished(self, station: String) -> Result<WeatherSeries, Stop> {
        let mut days = BTreeMap::new();
        for (date, said) in self.days {
            if let [Some(min), Some(max)] = said {
                let day = DayTemperatures::new(min.value_c, max.value_c).map_err(|what| {
                    let mend =
                        "correct the day, or take out its values so that it counts as missing";
                    let trouble = Trouble::new(format!("{date}: {what}"), mend);
                    let line = min.line.max(max.line);
                    Stop::Row { line, trouble }
                })?;
                days.insert(date, day);
            }
        }
        let gaps = gaps(&days);
        let mut series = WeatherSeries {
            station,
            days,
            filled: Vec::new(),
            missing: Vec::new(),
            left_out: self.left_out,
            read_in_the_morning: self.read_in_the_morning,
        };
        for gap in gaps {
            series.close(gap);
        }
        Ok(series)
    }
}

/// Days without temperatures between two that have them.
struct Gap {
    before: (Date, DayTemperatures),
    after: (Date, DayTemperatures),
    days: Vec<Date>,
}

fn gaps(days: &BTreeMap<Date, DayTemperatures>) -> Vec<Gap> {
    let pairs = days.iter().zip(days.iter().skip(1));
    let gaps = pairs.map(|((first, before), (last, after))| Gap {
        before: (*first, *before),
        after: (*last, *after),
        days: first
            .series(Span::new().days(1))
            .skip(1)
            .take_while(|date| date < last)
            .collect(),
    });
    gaps.filter(|gap| !gap.days.is_empty()).collect()
}

impl WeatherSeries {
    /// Fills a short gap along a straight line between its neighbors, and lists a long one.
    fn close(&mut self, gap: Gap) {
        let (_, before) = gap.before;
        let (_, after) = gap.after;
        if gap.days.len() > FILLED_MAX {
            self.missing.extend(gap.days);
            return;
        }
        let steps = (gap.days.len() + 1) as f64;
        for (step, date) in (1..).zip(&gap.days) {
            let share = f64::from(step) / steps;
            let between = |from: f64, to: f64| from + (to - from) * share;
            let min_c = between(before.min_c(), after.min_c());
            // Rounding must not lift the minimum above the maximum where both days have no span.
            let max_c = between(before.max_c(), after.max_c()).max(min_c);
            let day = DayTemperatures::new(min_c, max_c)
                .expect("a day between two possible days is possible");
            self.days.insert(*date, day);
        }
        self.filled.extend(gap.days);
    }
}

/// What is wrong with a station if its file is read in a unit that it cannot have been written in.
fn unbelievable(series: &WeatherSeries, layout: &Layout) -> Option<Trouble> {
    match layout {
        Layout::GhcnRows => None,
        Layout::GhcnColumns { .. } => cold_summer(series).map(|warmest| {
            Trouble::new(
                format!("no day of June to August is warmer than {warmest:.1} °C, read in tenths as the archive has them"),
                "if the file has whole degrees, give them as columns date, tmin_c, tmax_c (or tmin_f, tmax_f)",
            )
        }),
        Layout::Plain {
            unit: TemperatureUnit::F,
            ..
        } => cold_summer(series).map(|warmest| {
            Trouble::new(
                format!("no day of June to August is warmer than {warmest:.1} °C, read in °F"),
                "if the file is in degrees Celsius, say so: columns tmin_c and tmax_c, or [weather] temperature_unit = \"C\"",
            )
        }),
        Layout::Plain {
            unit: TemperatureUnit::C,
            ..
        } => hot_month(series).map(|(month, min_c, max_c)| {
            Trouble::new(
                format!("the days of {month} have a mean minimum of {min_c:.0} and a mean maximum of {max_c:.0}, read in °C"),
                "if the file is in degrees Fahrenheit, say so: columns tmin_f and tmax_f, or [weather] temperature_unit = \"F\"",
            )
        }),
    }
}

/// The warmest day of June to August, °C, where it is colder than any summer.
fn cold_summer(series: &WeatherSeries) -> Option<f64> {
    let summer: Vec<f64> = series
        .days
        .iter()
        .filter(|(date, _)| (6..=8).contains(&date.month()))
        .map(|(_, day)| day.max_c())
        .collect();
    let warmest = summer.iter().copied().fold(f64::MIN, f64::max);
    (summer.len() >= DAYS_OF_MONTH_LEAST && warmest < SUMMER_MIN_C).then_some(warmest)
}

/// A month, as `2026-07`, that is hotter than any, with its mean minimum and maximum, °C.
fn hot_month(series: &WeatherSeries) -> Option<(String, f64, f64)> {
    let mut months: BTreeMap<(i16, i8), Vec<&DayTemperatures>> = BTreeMap::new();
    for (date, day) in &series.days {
        let month = months.entry((date.year(), date.month())).or_default();
        month.push(day);
    }
    months.into_iter().find_map(|((year, month), days)| {
        let count = days.len() as f64;
        let min_c = days.iter().map(|day| day.min_c()).sum::<f64>() / count;
        let max_c = days.iter().map(|day| day.max_c()).sum::<f64>() / count;
        let is_hot = min_c > MONTH_MIN_C || max_c > MONTH_MAX_C;
        (days.len() >= DAYS_OF_MONTH_LEAST && is_hot)
            .then(|| (format!("{year:04}-{month:02}"), min_c, max_c))
    })
}

/// Lines of a file, each within a bound, taken apart at its commas.
struct Lines {
    reader: BufReader<Box<dyn Read>>,
    number: usize,
    line: Vec<u8>,
}

impl Lines {
    fn new(reader: Box<dyn Read>) -> Lines {
        Lines {
            reader: BufReader::new(reader),
            number: 0,
            line: Vec::new(),
        }
    }

    /// Puts the next line that is not empty into `cells`; its number, or none at the end.
    fn next_into(&mut self, cells: &mut StringRecord) -> Result<Option<usize>, Stop> {
        loop {
            self.line.clear();
            self.number += 1;
            let mut bounded = (&mut self.reader).take(LINE_MAX);
            let length = bounded.read_until(b'\n', &mut self.line);
            if length.map_err(Stop::Reading)? == 0 {
                return Ok(None);
            }
            let row = |what: &str, mend| Stop::Row {
                line: self.number,
                trouble: Trouble::new(what, mend),
            };
            if self.line.len() as u64 == LINE_MAX {
                let mend = "give a CSV file with one day a line";
                return Err(row(
                    "the line is longer than any row of a weather file",
                    mend,
                ));
            }
            let text = std::str::from_utf8(&self.line)
                .map_err(|_| row("the line is not UTF-8", "save the file as UTF-8"))?;
            let text = text.trim_start_matches('\u{feff}').trim_end();
            if text.is_empty() {
                continue;
            }
            let uncut = |error| format!("the line cannot be cut into cells: {error}");
            cut(text, cells).map_err(|error| row(&uncut(error), "correct the quotes"))?;
            return Ok(Some(self.number));
        }
    }
}

/// The cells of a line. Only a line with quotes needs the CSV reader; the files of a whole year have none.
fn cut(line: &str, cells: &mut StringRecord) -> Result<(), csv::Error> {
    cells.clear();
    if !line.contains('"') {
        line.split(',').for_each(|cell| cells.push_field(cell));
        return Ok(());
    }
    csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(line.as_bytes())
        .read_record(cells)?;
    Ok(())
}
