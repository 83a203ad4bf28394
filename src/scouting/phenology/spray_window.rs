//! From a stage seen in a field to the days on which the field is expected at its treatment stage. Pure: it is
//! given the weather and the model, and it says nothing of whether to treat. The threshold says that, and the
//! label and local practice come before both.
//!
//! A range, not a day, for two reasons that are stated and not hidden:
//!
//! - A stage lasts. A field seen at R3 may have entered it that day or be about to leave it, so the heat that
//!   it still needs is between two sums of the model's table.
//! - Weather to come is not known. Days after the last known one are given the heat of the last
//!   [`OUTLOOK_DAYS`] known days: their 90th percentile every day for the earliest date, their 10th for the
//!   latest. A run of such days is rarer than one of them, so the range is wide rather than narrow.

use std::fmt;

use jiff::ToSpan;
use jiff::civil::Date;

use super::degree_days::DailyHeat;
use super::development::{Development, HatchModel, HatchSpan};
use super::weather::WeatherSeries;
use crate::visit::stage::Stage;

/// Known days whose heat is used for the days to come. Our choice: two weeks.
pub(crate) const OUTLOOK_DAYS: usize = 14;
/// Days between the last known day and the visit, at most. Our choice: after a week the weather is another.
pub(crate) const STALE_DAYS: i32 = 7;
/// Days within which a date must come, else it is not reported.
const HORIZON_DAYS: i32 = 120;
/// Sums of decimals must not miss their mark by their last bit, degree-days.
const ROUNDING: f64 = 1e-9;

/// The stage that a field was seen in, the day, and whether anything was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observed {
    /// Stage, as the visit says it.
    pub stage: Stage,
    /// Day of the visit.
    pub on: Date,
    /// Whether the count found any.
    pub found: bool,
}

/// The days on which a field is expected at its treatment stage.
#[derive(Debug, Clone, PartialEq)]
pub struct SprayWindow {
    /// Earliest day; the visit date, if the field may be there already.
    pub opens: Date,
    /// Latest day.
    pub closes: Date,
    /// First day on which eggs seen on the visit hatch: that day, since they were laid over the days before it. None where no
    /// egg was found, without a hatch model, or without the heat that it asks for.
    pub hatch_from: Option<Date>,
    /// Last such day: the longest time that an egg takes after the visit, for one laid on its day.
    pub hatch_to: Option<Date>,
    /// What the days are based on.
    pub basis: Basis,
}

/// What the days of a window are based on.
#[derive(Debug, Clone, PartialEq)]
pub enum Basis {
    /// The temperatures of a station, known through a day; an outlook is used for later days.
    Weather {
        /// The station.
        station: String,
        /// Its last known day.
        through: Date,
    },
    /// Day ranges of the protocol's file, without weather.
    Days,
}

/// Why there is no window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoWindow {
    /// The field was seen at the treatment stage, or past it.
    StageReached,
    /// The protocol's model, or its table of days, does not lead from the stage seen to the treatment stage.
    NotInModel,
    /// A day that the sum needs has no temperatures.
    Gap(Date),
    /// The weather ends too long before the visit, on this day.
    Stale(Date),
    /// Fewer known days than an outlook is based on.
    FewDays(usize),
    /// At the outlook's heat the field would not be there within the horizon.
    TooCold,
}

impl fmt::Display for NoWindow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NoWindow::StageReached => f.write_str("the field has reached the treatment stage"),
            NoWindow::NotInModel => {
                f.write_str("the protocol does not lead from the stage seen to the treatment stage")
            }
            NoWindow::Gap(date) => write!(f, "the station has no temperatures for {date}"),
            NoWindow::Stale(date) => write!(
                f,
                "the station's temperatures end on {date}, more than {STALE_DAYS} days before the visit"
            ),
            NoWindow::FewDays(known) => write!(
                f,
                "the station has {known} days, and an outlook is based on {OUTLOOK_DAYS}"
            ),
            NoWindow::TooCold => write!(
                f,
                "at the heat of the last {OUTLOOK_DAYS} days it would take more than {HORIZON_DAYS} days"
            ),
        }
    }
}

/// Heat of a day to come, degree-days (°C), from the last known days.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlook {
    /// 10th percentile of the window's daily heat.
    pub low: f64,
    /// Mean.
    pub mean: f64,
    /// 90th percentile.
    pub high: f64,
}

impl Outlook {
    /// The outlook after a record; percentiles interpolate linearly between ranks.
    pub(crate) fn after(heat: &DailyHeat) -> Result<Outlook, NoWindow> {
        let mut latest = heat.latest(OUTLOOK_DAYS);
        if latest.len() < OUTLOOK_DAYS {
            return Err(NoWindow::FewDays(latest.len()));
        }
        latest.sort_by(f64::total_cmp);
        Ok(Outlook {
            low: percentile(&latest, 0.1),
            mean: latest.iter().sum::<f64>() / latest.len() as f64,
            high: percentile(&latest, 0.9),
        })
    }
}

/// The percentile of values in order, at least one of them.
fn percentile(ordered: &[f64], share: f64) -> f64 {
    let rank = share * (ordered.len() - 1) as f64;
    let (below, above) = (
        ordered[rank.floor() as usize],
        ordered[rank.ceil() as usize],
    );
    below + (above - below) * rank.fract()
}

/// A station's heat as a protocol's models count it, once for all fields of the station.
#[derive(Debug, Clone, PartialEq)]
pub struct StationHeat {
    station: String,
    crop: DailyHeat,
    hatch: Option<DailyHeat>,
}

impl StationHeat {
    /// The heat of a station, if the protocol has a crop model.
    pub fn of(series: &WeatherSeries, development: &Development) -> Option<StationHeat> {
        let by = |rule| DailyHeat::of(&series.days, rule);
        let hatch = development
            .hatch
            .as_ref()
            .and_then(|hatch| match hatch.span {
                HatchSpan::Heat { rule, .. } => Some(by(rule)),
                HatchSpan::Days(_) => None,
            });
        Some(StationHeat {
            station: series.station.clone(),
            crop: by(development.crop.as_ref()?.rule),
            hatch,
        })
    }

    /// What was known on a day: the same without later days.
    pub fn through(&self, date: Date) -> StationHeat {
        StationHeat {
            station: self.station.clone(),
            crop: self.crop.through(date),
            hatch: self.hatch.as_ref().map(|heat| heat.through(date)),
        }
    }

    /// The outlook on the crop's heat, to be reported with the dates.
    pub fn outlook(&self) -> Result<Outlook, NoWindow> {
        Outlook::after(&self.crop)
    }
}

/// The window of a field by the weather of its station.
///
/// The visit date counts in full for the earliest date and not at all for the latest, since the hour of
/// the visit is not known.
pub fn window_by_weather(
    development: &Development,
    treat_at: Stage,
    observed: Observed,
    heat: &StationHeat,
) -> Result<SprayWindow, NoWindow> {
    refuse_reached(observed.stage, treat_at)?;
    let crop = development.crop.as_ref().ok_or(NoWindow::NotInModel)?;
    let needed = crop.heat_to(observed.stage, treat_at);
    let needed = needed.ok_or(NoWindow::NotInModel)?;
    let through = heat.crop.known_through().ok_or(NoWindow::FewDays(0))?;
    let [opens, closes] = days_reached(&heat.crop, observed.on, needed)?;
    let hatch = development
        .hatch
        .as_ref()
        .and_then(|model| hatch_days(model, observed, heat.hatch.as_ref()));
    Ok(SprayWindow {
        opens,
        closes,
        hatch_from: hatch.map(|[from, _]| from),
        hatch_to: hatch.map(|[_, to]| to),
        basis: Basis::Weather {
            station: heat.station.clone(),
            through,
        },
    })
}

/// The window of a field by the day ranges of the protocol's file, where there is no weather.
pub fn window_by_days(
    development: &Development,
    treat_at: Stage,
    observed: Observed,
) -> Result<SprayWindow, NoWindow> {
    refuse_reached(observed.stage, treat_at)?;
    let ranges = development.without_weather.as_ref();
    let days = ranges.and_then(|ranges| ranges.days_from(observed.stage));
    let [opens, closes] = days
        .and_then(|days| days_after(observed.on, days))
        .ok_or(NoWindow::NotInModel)?;
    let hatch = development
        .hatch
        .as_ref()
        .and_then(|model| hatch_days(model, observed, None));
    Ok(SprayWindow {
        opens,
        closes,
        hatch_from: hatch.map(|[from, _]| from),
        hatch_to: hatch.map(|[_, to]| to),
        basis: Basis::Days,
    })
}

/// A stage that is wholly at or beyond the treatment stage; `R5` alone may still be before R5.1.
fn refuse_reached(observed: Stage, treat_at: Stage) -> Result<(), NoWindow> {
    match observed.first_place() >= treat_at.first_place() {
        true => Err(NoWindow::StageReached),
        false => Ok(()),
    }
}

/// The days on which the eggs of a visit hatch. How old they are is not known: the oldest may hatch on the day itself, the
/// youngest take the longest time from it.
fn hatch_days(
    model: &HatchModel,
    observed: Observed,
    heat: Option<&DailyHeat>,
) -> Option<[Date; 2]> {
    let seen_on = observed.found.then_some(observed.on)?;
    let [_, last] = match model.span {
        HatchSpan::Days(days) => days_after(seen_on, days)?,
        HatchSpan::Heat { degree_days, .. } => days_reached(heat?, seen_on, degree_days).ok()?,
    };
    Some([seen_on, last])
}

fn days_after(date: Date, days: [u16; 2]) -> Option<[Date; 2]> {
    let [few, many] = days.map(|days| date.checked_add(i32::from(days).days()).ok());
    Some([few?, many?])
}

/// The earliest and the latest day by which a sum between two is reached, from a day on.
fn days_reached(heat: &DailyHeat, from: Date, needed: [f64; 2]) -> Result<[Date; 2], NoWindow> {
    let through = heat.known_through().ok_or(NoWindow::FewDays(0))?;
    if (from - through).get_days() > STALE_DAYS {
        return Err(NoWindow::Stale(through));
    }
    let outlook = Outlook::after(heat);
    let [least, most] = needed;
    let opens = day_reached(heat, from, least, outlook.map(|outlook| outlook.high))?;
    let next = from.tomorrow().map_err(|_| NoWindow::TooCold)?;
    let closes = day_reached(heat, next, most, outlook.map(|outlook| outlook.low))?;
    Ok([opens, closes])
}

/// The first day at whose end a sum from a day on is reached; that day itself if nothing is needed.
fn day_reached(
    heat: &DailyHeat,
    first: Date,
    needed: f64,
    to_come: Result<f64, NoWindow>,
) -> Result<Date, NoWindow> {
    let mut sum = 0.0;
    if needed <= ROUNDING {
        return Ok(first);
    }
    for date in first.series(1.day()).take(HORIZON_DAYS as usize) {
        sum += match heat.on(date) {
            Some(known) => known,
            None if heat.known_through().is_some_and(|last| date > last) => to_come?,
            None => return Err(NoWindow::Gap(date)),
        };
        if sum >= needed - ROUNDING {
            return Ok(date);
        }
    }
    Err(NoWindow::TooCold)
}
