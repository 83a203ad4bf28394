//! The course of a season in a few figures: when it begins, how high it goes, how long it stays there, and how
//! much of it there is. They are based on shares and means, never on how many visits were made.
//!
//! Weeks without a figure are not guessed: the area joins only weeks that follow each other with at most one
//! missing between them, and says how many weeks it covers, so that a season with holes is not taken for a
//! quiet one.

/// One week's figures; weeks are counted from any fixed week.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeekFigures {
    /// Place of the week in the year.
    pub week: i32,
    /// Share of the fields at threshold, 0 to 1.
    pub share_at_threshold: f64,
    /// Mean pressure; 1 = at threshold.
    pub pressure: f64,
}

/// A season in figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeasonCourse {
    /// First week with a field at threshold; `None` if no week had one.
    pub first_at_threshold: Option<i32>,
    /// First week whose pressure is half of the threshold or more.
    pub first_at_half: Option<i32>,
    /// Week of the highest pressure, of equal ones the first; `None` if nothing was found in any.
    pub peak_week: Option<i32>,
    /// The highest pressure.
    pub peak_pressure: f64,
    /// Weeks whose pressure is 1 or more.
    pub weeks_at_threshold: u32,
    /// Area under the pressure between joined weeks, in pressure times weeks; `None` if no weeks are joined:
    /// that is no area of 0.
    pub pressure_weeks: Option<f64>,
    /// Weeks of time that this area covers.
    pub weeks_covered: i32,
    /// Weeks with figures.
    pub weeks: u32,
}

impl SeasonCourse {
    /// Weeks at threshold ÷ weeks with figures: so that a season seen in more weeks is not a worse one.
    pub fn share_of_weeks_at_threshold(&self) -> f64 {
        f64::from(self.weeks_at_threshold) / f64::from(self.weeks)
    }

    /// The area ÷ the weeks that it covers, for the same reason.
    pub fn pressure_per_week(&self) -> Option<f64> {
        Some(self.pressure_weeks? / f64::from(self.weeks_covered))
    }
}

/// A pressure of half the threshold: from there on a season has begun.
const HALF: f64 = 0.5;
/// Below 1 by no more than rounding is at threshold, as elsewhere in the roll-up.
const ROUNDING: f64 = 1e-12;
/// Weeks are joined over one missing week at most: our choice.
pub(crate) const WEEKS_JOINED: i32 = 2;

/// A season by the degree-days (°C) accumulated by its weeks, in place of the calendar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatCourse {
    /// Heat sum at the first week with a field at threshold; `None` where no week had one or its heat is not known.
    pub first_at_threshold: Option<f64>,
    /// At the first week whose pressure is half of the threshold or more.
    pub first_at_half: Option<f64>,
    /// At the week of the highest pressure.
    pub peak: Option<f64>,
    /// Weeks with figures whose heat is known.
    pub weeks: u32,
    /// Area under the pressure over the heat, in pressure times degree-days, between the same weeks as
    /// [`SeasonCourse::pressure_weeks`]; `None` where no heat came between joined weeks.
    pub area: Option<f64>,
    /// Degree-days that this area covers.
    pub covered: f64,
}

impl HeatCourse {
    /// The area ÷ the heat that it covers: so that a season seen over more heat is not a worse one.
    pub fn mean_pressure(&self) -> Option<f64> {
        Some(self.area? / self.covered)
    }
}

/// The course of a season by heat: `heat` has the sum at each of its weeks, as far as it is known.
pub fn course_by_heat(
    course: &SeasonCourse,
    weeks: &[WeekFigures],
    heat: &[Option<f64>],
) -> HeatCourse {
    let at = |week: Option<i32>| {
        let place = weeks.iter().position(|other| Some(other.week) == week)?;
        heat[place]
    };
    let (mut area, mut covered) = (0.0, 0.0);
    for (pair, heat) in weeks.windows(2).zip(heat.windows(2)) {
        let joined = pair[1].week - pair[0].week <= WEEKS_JOINED;
        if let (true, [Some(from), Some(to)]) = (joined, heat) {
            area += (to - from) * (pair[0].pressure + pair[1].pressure) / 2.0;
            covered += to - from;
        }
    }
    HeatCourse {
        first_at_threshold: at(course.first_at_threshold),
        first_at_half: at(course.first_at_half),
        peak: at(course.peak_week),
        weeks: heat.iter().flatten().count() as u32,
        area: (covered > 0.0).then_some(area),
        covered,
    }
}

/// The figures of a season's weeks, in ascending order. `None` without a week.
pub fn season_course(weeks: &[WeekFigures]) -> Option<SeasonCourse> {
    let first = |fits: &dyn Fn(&WeekFigures) -> bool| {
        weeks.iter().find(|week| fits(week)).map(|week| week.week)
    };
    let highest = weeks.iter().reduce(|best, next| {
        if next.pressure > best.pressure {
            next
        } else {
            best
        }
    })?;
    let joined = || {
        let pairs = weeks.windows(2);
        pairs.filter(|pair| pair[1].week - pair[0].week <= WEEKS_JOINED)
    };
    let area = joined().map(|pair| {
        let apart = f64::from(pair[1].week - pair[0].week);
        apart * (pair[0].pressure + pair[1].pressure) / 2.0
    });
    let weeks_covered = joined().map(|pair| pair[1].week - pair[0].week).sum();
    let at_threshold = weeks.iter().filter(|week| week.pressure >= 1.0 - ROUNDING);
    Some(SeasonCourse {
        first_at_threshold: first(&|week| week.share_at_threshold > 0.0),
        first_at_half: first(&|week| week.pressure >= HALF),
        peak_week: (highest.pressure > 0.0).then_some(highest.week),
        peak_pressure: highest.pressure,
        weeks_at_threshold: at_threshold.count() as u32,
        pressure_weeks: (weeks_covered > 0).then(|| area.sum()),
        weeks_covered,
        weeks: weeks.len() as u32,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weeks(figures: &[(i32, f64, f64)]) -> Vec<WeekFigures> {
        let week = |&(week, share_at_threshold, pressure): &(i32, f64, f64)| WeekFigures {
            week,
            share_at_threshold,
            pressure,
        };
        figures.iter().map(week).collect()
    }

    #[test]
    fn a_season_by_hand() {
        let course = season_course(&weeks(&[
            (28, 0.0, 0.2),
            (29, 0.1, 0.4),
            (30, 0.3, 1.0),
            (31, 0.4, 1.4),
            (33, 0.0, 0.2),
            (37, 0.0, 0.0),
        ]));
        let course = course.expect("six weeks");
        assert_eq!(
            (course.first_at_threshold, course.first_at_half),
            (Some(29), Some(30))
        );
        assert_eq!((course.peak_week, course.peak_pressure), (Some(31), 1.4));
        assert_eq!((course.weeks_at_threshold, course.weeks), (2, 6));
        // 0.3 + 0.7 + 1.2 + 2·0.8; weeks 33 and 37 are not joined.
        let per_week = course.pressure_per_week().expect("an area");
        assert!((course.pressure_weeks.expect("an area") - 3.8).abs() < 1e-12);
        assert!((per_week - 3.8 / 5.0).abs() < 1e-12);
        assert!((course.share_of_weeks_at_threshold() - 2.0 / 6.0).abs() < 1e-12);
        assert_eq!(course.weeks_covered, 5);
    }

    #[test]
    fn the_same_season_by_heat() {
        let weeks = weeks(&[
            (28, 0.0, 0.2),
            (29, 0.1, 0.4),
            (30, 0.3, 1.0),
            (31, 0.4, 1.4),
            (33, 0.0, 0.2),
            (37, 0.0, 0.0),
        ]);
        let course = season_course(&weeks).expect("six weeks");
        let heat = [
            Some(400.0),
            Some(500.0),
            Some(650.0),
            None,
            Some(900.0),
            Some(1200.0),
        ];
        let by_heat = course_by_heat(&course, &weeks, &heat);
        assert_eq!(by_heat.first_at_threshold, Some(500.0));
        assert_eq!((by_heat.first_at_half, by_heat.peak), (Some(650.0), None));
        // 100·0.3 + 150·0.7; week 31 has no heat, and weeks 33 and 37 are not joined.
        assert!((by_heat.area.expect("an area") - 135.0).abs() < 1e-9);
        assert_eq!((by_heat.covered, by_heat.weeks), (250.0, 5));
        let mean = by_heat.mean_pressure().expect("an area");
        assert!((mean - 0.54).abs() < 1e-12);
        let unknown = course_by_heat(&course, &weeks, &[None; 6]);
        assert_eq!((unknown.area, unknown.weeks, unknown.peak), (None, 0, None));
    }

    #[test]
    fn a_season_with_nothing_has_no_peak() {
        let course = season_course(&weeks(&[(28, 0.0, 0.0)])).expect("a week");
        assert_eq!((course.peak_week, course.first_at_half), (None, None));
        assert_eq!((course.pressure_weeks, course.weeks_covered), (None, 0));
        assert_eq!(season_course(&[]), None);
    }
}
