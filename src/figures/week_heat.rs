//! The heat that had come by the weeks of seasons, so that they are compared by heat as well as by the calendar.
//!
//! Heat is counted as the protocol's crop counts it and summed from one day of the year up to the middle day of the
//! week, or up to the last day of temperatures if the record ends earlier in the week, as it does for an alert that is
//! issued within its week. Earlier seasons are looked at at the same heat, so it need not be of the same weekday. Of a county it is
//! that of its station, of the region the mean of all counties that have a station, whichever of them are shown. A sum
//! that lacks a day before is not given: it would look like cold weather.

use std::collections::{BTreeMap, HashMap};

use jiff::civil::Date;

use super::place::Place;
use scouting::phenology::degree_days::DailyHeat;
use scouting::protocol::catalogue::Catalogue;
use scouting::visit::week::IsoWeek;
use store::stages::inputs::Setting;

/// A heat sum, degree-days (°C), and the last day in it.
#[derive(Debug, Clone, Copy)]
struct HeatSum {
    through: Date,
    sum: f64,
}

/// Heat sums by protocol, week and station.
#[derive(Debug, Clone, Default)]
pub(crate) struct WeekHeat {
    /// The station of each county that has one.
    stations: BTreeMap<String, usize>,
    sums: HashMap<(String, IsoWeek), Vec<Option<HeatSum>>>,
    /// Month and day from which is summed; `None` without temperatures.
    from: Option<(i8, i8)>,
}

impl WeekHeat {
    /// That of these protocols and ISO weeks.
    pub(crate) fn of<'a>(
        setting: &Setting,
        catalogue: &Catalogue,
        weeks: impl IntoIterator<Item = (&'a str, &'a str)>,
    ) -> WeekHeat {
        let weather = &setting.weather;
        let stations = setting
            .counties
            .iter()
            .filter_map(|county| Some((county.id.clone(), weather.station_of(&county.id)?)));
        let mut heat = WeekHeat {
            stations: stations.collect(),
            sums: HashMap::new(),
            from: (!weather.stations.is_empty()).then_some(weather.heat_from),
        };
        let mut daily: HashMap<&str, Vec<DailyHeat>> = HashMap::new();
        for (protocol, iso_week) in weeks {
            let known = catalogue.protocol(protocol);
            let crop = known.and_then(|known| known.development.as_ref()?.crop.as_ref());
            let (Some(crop), Ok(week)) = (crop, iso_week.parse::<IsoWeek>()) else {
                continue;
            };
            let key = (protocol.to_owned(), week);
            if heat.sums.contains_key(&key) {
                continue;
            }
            let of_stations = daily.entry(protocol).or_insert_with(|| {
                let stations = weather.stations.iter();
                stations
                    .map(|series| DailyHeat::of(&series.days, crop.rule))
                    .collect()
            });
            let sums = of_stations
                .iter()
                .map(|days| sum_until(days, week, setting));
            heat.sums.insert(key, sums.collect());
        }
        heat
    }

    /// Month and day from which the sums count; `None` without temperatures.
    pub(crate) fn from(&self) -> Option<(i8, i8)> {
        self.from
    }

    /// The sum at a week of a place, degree-days (°C).
    pub(crate) fn at(&self, place: &Place, protocol: &str, week: IsoWeek) -> Option<f64> {
        match place {
            Place::County(id, _) => {
                let sums = self.sums.get(&(protocol.to_owned(), week))?;
                Some(sums[*self.stations.get(id)?]?.sum)
            }
            Place::Region => {
                let sums = self.of_counties(protocol, week)?;
                Some(sums.iter().map(|one| one.sum).sum::<f64>() / sums.len() as f64)
            }
        }
    }

    /// The last day in the sum of a week of the region; the earliest, where stations differ.
    pub(crate) fn through(&self, protocol: &str, week: IsoWeek) -> Option<Date> {
        let sums = self.of_counties(protocol, week)?;
        sums.iter().map(|one| one.through).min()
    }

    /// The sums of all counties that have a station, if there are any and all are known.
    fn of_counties(&self, protocol: &str, week: IsoWeek) -> Option<Vec<HeatSum>> {
        let sums = self.sums.get(&(protocol.to_owned(), week))?;
        let of_counties: Option<Vec<HeatSum>> = self
            .stations
            .values()
            .map(|station| sums[*station])
            .collect();
        of_counties.filter(|sums| !sums.is_empty())
    }
}

/// From the last such day of the year up to the middle of a week, or to the last day of the record if it ends in the
/// week before that; both included.
fn sum_until(days: &DailyHeat, week: IsoWeek, setting: &Setting) -> Option<HeatSum> {
    let (weeks, (month, day)) = (&setting.weeks, setting.weather.heat_from);
    let through = days.known_through()?.min(weeks.middle_day(week));
    if through < weeks.first_day(week) {
        return None;
    }
    let from = |year: i16| Date::new(year, month, day).ok();
    let this_year = from(through.year()).filter(|from| *from <= through);
    let sum = days.accumulated(this_year.or_else(|| from(through.year() - 1))?, through)?;
    Some(HeatSum { through, sum })
}

#[cfg(test)]
mod tests {
    use jiff::ToSpan;
    use jiff::civil::date;

    use super::*;
    use disclosure::rule::Rule;
    use scouting::phenology::degree_days::DayTemperatures;
    use scouting::phenology::weather::WeatherSeries;
    use scouting::region::point_grid::GridWidth;
    use scouting::visit::week::{WeekStart, Weeks};
    use store::stages::computed::windows::Weather;
    use store::stages::inputs::RegionCounty;

    /// Every day of three years has the same two temperatures.
    fn station(name: &str, warmest_c: f64, from: Date) -> WeatherSeries {
        let day = DayTemperatures::new(0.0, warmest_c).expect("temperatures of air");
        let days = from
            .series(1.day())
            .take_while(|day| *day <= date(2026, 12, 31));
        WeatherSeries {
            station: name.to_owned(),
            days: days.map(|date| (date, day)).collect(),
            filled: Vec::new(),
            missing: Vec::new(),
            left_out: 0,
            read_in_the_morning: 0,
        }
    }

    fn heat(weather: &Weather) -> WeekHeat {
        heat_in(weather, &Weeks::ISO)
    }

    fn heat_in(weather: &Weather, weeks: &Weeks) -> WeekHeat {
        let county = |id: &str| RegionCounty {
            id: id.to_owned(),
            name: id.to_owned(),
            neighbors: Vec::new(),
        };
        let setting = Setting {
            rule: Rule::LEAST,
            districts: BTreeMap::new(),
            weeks: weeks.clone(),
            point_grid: GridWidth::Km40,
            counties: ["A", "B", "C"].map(county).into(),
            weather: weather.clone(),
            certainty: 0.9,
        };
        let weeks = ["2025-W30", "2026-W02", "2026-W30"].map(|week| ("bsm-eggs", week));
        let catalogue =
            Catalogue::read(None, store::stages::expression::plan).expect("the catalog");
        WeekHeat::of(&setting, &catalogue, weeks)
    }

    fn at(heat: &WeekHeat, place: &str, week: &str) -> Option<f64> {
        let place = match place {
            "" => Place::Region,
            county => Place::County(county.to_owned(), county.to_owned()),
        };
        heat.at(&place, "bsm-eggs", week.parse().expect("a week"))
    }

    #[test]
    fn heat_is_summed_from_a_day_to_the_middle_of_the_week() {
        // Base 6.7: (0 + 33.4) / 2 - 6.7 = 10 and (0 + 23.4) / 2 - 6.7 = 5 degree-days a day.
        let mut weather = Weather {
            stations: vec![
                station("warm", 33.4, date(2024, 1, 1)),
                station("cool", 23.4, date(2025, 3, 1)),
            ],
            station_of_county: [("A".to_owned(), 0), ("B".to_owned(), 1)].into(),
            ..Weather::default()
        };
        let found = heat(&weather);
        let near = |found: Option<f64>, expected: f64| {
            assert!(
                (found.expect("a sum") - expected).abs() < 1e-6,
                "{found:?}, {expected}"
            );
        };
        // Thursday of week 30 of 2026 is 23 July, day 204 of the year.
        near(at(&found, "A", "2026-W30"), 2040.0);
        near(at(&found, "B", "2026-W30"), 1020.0);
        near(at(&found, "", "2026-W30"), 1530.0);
        // Weeks from Thursday to Wednesday: the middle of week 30 is Sunday, three days later.
        let thursday = WeekStart::try_from("Thursday".to_owned()).expect("a day");
        let later = heat_in(&weather, &Weeks::new(thursday, []));
        near(at(&later, "A", "2026-W30"), 2070.0);
        // The cool station begins in March 2025; the region's sum would lack it.
        assert_eq!(at(&found, "B", "2025-W30"), None);
        assert_eq!(at(&found, "", "2025-W30"), None);
        assert_eq!(
            at(&found, "C", "2026-W30"),
            None,
            "a county without a station"
        );
        // The warm station's record ends on a Wednesday: that week is summed to it, the next not at all.
        let whole = weather.stations[0].days.clone();
        weather.stations[0]
            .days
            .retain(|day, _| *day <= date(2026, 7, 22));
        let found = heat(&weather);
        near(at(&found, "A", "2026-W30"), 2030.0);
        let week = "2026-W30".parse().expect("a week");
        assert_eq!(found.through("bsm-eggs", week), Some(date(2026, 7, 22)));
        weather.stations[0]
            .days
            .retain(|day, _| *day <= date(2026, 7, 19));
        assert_eq!(at(&heat(&weather), "A", "2026-W30"), None);
        weather.stations[0].days = whole;
        // From July on, as in the south: week 2 of 2026 counts from the year before. 8 January is day 192.
        weather.heat_from = (7, 1);
        near(at(&heat(&weather), "A", "2026-W02"), 1920.0);
        assert_eq!(heat(&Weather::default()).from(), None);
        assert_eq!(at(&heat(&Weather::default()), "", "2026-W30"), None);
    }
}
