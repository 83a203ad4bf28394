//! Generates seasons whose records arrive late, looks back at each week as it was when it was young, and
//! measures how often the range of its final count held what became of it. Writes the text of
//! `tests/benches/NOWCAST.md` to stdout:
//!
//!     cargo run --example backtest_nowcast > tests/benches/NOWCAST.md
//!
//! The seasons are invented: scouts with habits, and offices that send a pile at a time.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Geometric, LogNormal, Poisson};
use stats::nowcast::reporting_delay::{
    ExpectedCount, FinalAge, NotKnown, WeekArrivals, expect_final_count, records_of_groups,
};
use stats::sampling::share_interval::wilson;

const SEED: u64 = 20_260_721;
const CONFIDENCE: f64 = 0.8;
const FINAL: FinalAge = FinalAge { days: 42 };
/// Independent regions a setting, each with seasons of its own.
const REGIONS: u32 = 12;
const SEASONS: u32 = 5;
const WEEKS: u32 = 12;
/// Back-testing begins when so many seasons have been seen.
const SEASONS_FIRST: u32 = 2;
/// Days from a week's Monday to the look at it: Friday, Monday, Wednesday, and the Monday after that.
const AGES: [u32; 4] = [4, 7, 9, 14];
/// Share of the records there, at the least, from which the page gives no range: it rounds to 100%.
const NEARLY_ALL: f64 = 0.95;
const VISITS_OF_SCOUT: f64 = 6.0;

/// How records come in.
struct Habit {
    name: &'static str,
    says: &'static str,
    /// Share of the scouts who send on the day itself, in the first and the last season.
    at_once: [f64; 2],
    /// A scout sends the visits of a week together.
    together: bool,
    /// A week's delays are longer or shorter than usual by this standard deviation of the logarithm.
    week_to_week: f64,
    /// Weekdays on which an office passes on what it has, from Monday, 0.
    passed_on: &'static [u32],
    /// Days of a pause that each season has once; what would come then comes after it.
    pause: u32,
    /// Counties among which the visits fall; a county is shown, and counts, once [`SHOWN_FROM`] have come.
    counties: u32,
}

const EVERY_DAY: &[u32] = &[0, 1, 2, 3, 4, 5, 6];
/// Visits of a county that make it shown.
const SHOWN_FROM: u64 = 3;

const HABITS: [Habit; 8] = [
    Habit {
        name: "single",
        says: "each visit is sent by itself, 40% on the day, the others two and a half days later in the mean",
        at_once: [0.4, 0.4],
        together: false,
        week_to_week: 0.0,
        passed_on: EVERY_DAY,
        pause: 0,
        counties: 1,
    },
    Habit {
        name: "piles",
        says: "a scout sends the six visits of a week at once, else as before",
        at_once: [0.4, 0.4],
        together: true,
        week_to_week: 0.0,
        passed_on: EVERY_DAY,
        pause: 0,
        counties: 1,
    },
    Habit {
        name: "moods",
        says: "piles, and the delays of a week are all longer or shorter (standard deviation of the logarithm 0.3)",
        at_once: [0.4, 0.4],
        together: true,
        week_to_week: 0.3,
        passed_on: EVERY_DAY,
        pause: 0,
        counties: 1,
    },
    Habit {
        name: "drift",
        says: "piles, and from 25% who send on the day in the first season to 55% in the last",
        at_once: [0.25, 0.55],
        together: true,
        week_to_week: 0.0,
        passed_on: EVERY_DAY,
        pause: 0,
        counties: 1,
    },
    Habit {
        name: "weekdays",
        says: "piles, and the office passes on what it has on Mondays and Thursdays",
        at_once: [0.4, 0.4],
        together: true,
        week_to_week: 0.0,
        passed_on: &[0, 3],
        pause: 0,
        counties: 1,
    },
    Habit {
        name: "holiday",
        says: "piles, nothing comes on weekends, and on two working days of each season nothing does either",
        at_once: [0.4, 0.4],
        together: true,
        week_to_week: 0.0,
        passed_on: &[0, 1, 2, 3, 4],
        pause: 2,
        counties: 1,
    },
    Habit {
        name: "closed",
        says: "the same with a whole week of each season in which nothing comes",
        at_once: [0.4, 0.4],
        together: true,
        week_to_week: 0.0,
        passed_on: &[0, 1, 2, 3, 4],
        pause: 7,
        counties: 1,
    },
    Habit {
        name: "crossing",
        says: "piles from 12 counties, each of which is shown, and counts, once three visits have come",
        at_once: [0.4, 0.4],
        together: true,
        week_to_week: 0.0,
        passed_on: EVERY_DAY,
        pause: 0,
        counties: 12,
    },
];
const SIZES: [f64; 3] = [20.0, 200.0, 2000.0];
const MEAN_LATENESS_DAYS: f64 = 2.5;

/// A week with its records by county and delay, to the end.
struct Week {
    monday: u32,
    counties: Vec<Vec<u64>>,
    /// First and last day of the pause of its season, if it has one.
    pause: Option<[u32; 2]>,
}

impl Week {
    /// Records by delay of the counties that are shown at an age, up to another age.
    fn records(&self, shown_at: u32, until: u32) -> Vec<(u32, u64)> {
        let known = |days: &Vec<u64>| -> Vec<(u32, u64)> {
            let some = (0..=until).zip(days.iter().copied());
            some.filter(|(_, records)| *records > 0).collect()
        };
        let counties: Vec<_> = self.counties.iter().map(known).collect();
        let least = if counties.len() > 1 { SHOWN_FROM } else { 0 };
        records_of_groups(&counties, shown_at, least)
    }

    /// What becomes of the counties that are shown at an age.
    fn records_in_the_end(&self, shown_at: u32) -> u64 {
        let records = self.records(shown_at, FINAL.days);
        records.iter().map(|(_, records)| records).sum()
    }

    /// The week as it was on a day, of the counties that a week of this age shows.
    fn seen_on(&self, today: u32, shown_at: u32) -> WeekArrivals {
        let age_days = today - self.monday;
        WeekArrivals {
            age_days,
            arrived: self.records(shown_at, age_days),
        }
    }

    /// Whether reports pause between its Monday and this age.
    fn pauses_until(&self, age_days: u32) -> bool {
        self.pause
            .is_some_and(|[first, last]| last >= self.monday && first <= self.monday + age_days)
    }
}

impl Habit {
    fn region(&self, size: f64, chance: &mut ChaCha8Rng) -> Vec<Week> {
        let size_of_season = LogNormal::new(0.0, 0.3).expect("a standard deviation above 0");
        let mut weeks = Vec::new();
        for season in 0..SEASONS {
            let season_size = size * size_of_season.sample(chance);
            let progress = f64::from(season) / f64::from(SEASONS - 1);
            let at_once = self.at_once[0] + progress * (self.at_once[1] - self.at_once[0]);
            let first = 364 * season;
            let pause = (self.pause > 0).then(|| {
                let week = chance.random_range(2..WEEKS - 2);
                // A closed week is a calendar week; a holiday may begin on any day up to Thursday.
                let day = if self.pause < 7 {
                    chance.random_range(0..4)
                } else {
                    0
                };
                let from = first + 7 * week + day;
                [from, from + self.pause - 1]
            });
            for week in 0..WEEKS {
                // A season swells and ebbs.
                let place = (f64::from(week) + 0.5) / f64::from(WEEKS);
                let visits = season_size * (std::f64::consts::PI * place).sin() * 1.5;
                let monday = first + 7 * week;
                let of_county = visits / f64::from(self.counties);
                let counties = (0..self.counties).map(|_| {
                    let mut days = vec![0; FINAL.days as usize + 1];
                    for delay in self.delays(of_county, at_once, chance) {
                        let delay = self.arrives(monday + delay, pause) - monday;
                        if let Some(records) = days.get_mut(delay as usize) {
                            *records += 1;
                        }
                    }
                    days
                });
                weeks.push(Week {
                    monday,
                    counties: counties.collect(),
                    pause,
                });
            }
        }
        weeks
    }

    /// The day on which what is sent on a day arrives: day 0 is a Monday.
    fn arrives(&self, day: u32, pause: Option<[u32; 2]>) -> u32 {
        let closed = |day: u32| pause.is_some_and(|[first, last]| (first..=last).contains(&day));
        let open = |day: &u32| self.passed_on.contains(&(day % 7)) && !closed(*day);
        (day..).find(open).unwrap_or(day)
    }

    fn delays(&self, visits: f64, at_once: f64, chance: &mut ChaCha8Rng) -> Vec<u32> {
        let mood = LogNormal::new(0.0, self.week_to_week).expect("a standard deviation");
        let lateness = MEAN_LATENESS_DAYS * mood.sample(chance);
        let scouts = Poisson::new(visits / VISITS_OF_SCOUT).expect("more than no visits");
        let scouts = scouts.sample(chance) as u32;
        let late = Geometric::new(1.0 / (1.0 + lateness)).expect("a share");
        let mut delays = Vec::new();
        for _ in 0..scouts {
            let prompt = chance.random_bool(at_once);
            let pile = 4 + late.sample(chance).min(60) as u32;
            for _ in 0..VISITS_OF_SCOUT as u32 {
                let weekday = chance.random_range(0..5);
                let alone = weekday + 1 + late.sample(chance).min(60) as u32;
                let on_the_day = if self.together {
                    prompt
                } else {
                    chance.random_bool(at_once)
                };
                delays.push(match (on_the_day, self.together) {
                    (true, _) => weekday,
                    (false, true) => weekday.max(pile),
                    (false, false) => alone,
                });
            }
        }
        delays
    }
}

/// What came out of the weeks of a setting at one age.
#[derive(Default)]
struct Tally {
    looks: u32,
    silent: u32,
    /// Of the silent ones, those for which a pause was the reason.
    paused: u32,
    /// Looks of which the page says that nearly all reports are in, without a range.
    nearly_all: u32,
    held: u32,
    too_low: u32,
    shares: f64,
    widths: Vec<f64>,
    off: Vec<f64>,
}

impl Tally {
    fn add(&mut self, said: &ExpectedCount, is: u64) {
        self.looks += 1;
        self.held += u32::from((said.low..=said.high).contains(&is));
        self.too_low += u32::from(said.high < is);
        self.shares += said.share_arrived;
        self.widths
            .push((said.high - said.low) as f64 / said.expected);
        self.off.push((said.expected / is as f64 - 1.0).abs());
    }

    fn held_percent(&self) -> f64 {
        100.0 * f64::from(self.held) / f64::from(self.looks)
    }

    fn row(mut self) -> String {
        let looks = f64::from(self.looks);
        let held = self.held_percent();
        let Some([low, high]) = wilson(self.held, self.looks) else {
            return format!(
                "0 | {} | {} ({}) | – | – | – | – | – | –",
                self.nearly_all, self.silent, self.paused
            );
        };
        format!(
            "{} | {} | {} ({}) | {:.0} | {:.1} ({:.0}–{:.0}) | {} | {:.1} | {:.0} | {:.0}",
            self.looks,
            self.nearly_all,
            self.silent,
            self.paused,
            100.0 * self.shares / looks,
            held,
            100.0 * low,
            100.0 * high,
            match held {
                held if (70.0..=90.0).contains(&held) => "yes",
                _ if low <= 0.9 && high >= 0.7 => "within limits",
                _ => "**no**",
            },
            100.0 * f64::from(self.too_low) / looks,
            100.0 * median(&mut self.widths),
            100.0 * median(&mut self.off),
        )
    }
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// Every week of the later seasons, as it was at this age.
fn look_back(weeks: &[Week], age_days: u32, tallies: &mut [Tally; 2]) {
    let first = (SEASONS_FIRST * WEEKS) as usize;
    for (place, week) in weeks.iter().enumerate().skip(first) {
        let today = week.monday + age_days;
        let earlier: Vec<WeekArrivals> = weeks[..place]
            .iter()
            .map(|week| week.seen_on(today, age_days))
            .collect();
        let seed = SEED + u64::from(week.monday);
        let current = week.seen_on(today, age_days);
        let tally = &mut tallies[usize::from(week.pauses_until(age_days))];
        match expect_final_count(&earlier, &current, FINAL, CONFIDENCE, seed) {
            Ok(said) if said.arrived as f64 >= NEARLY_ALL * said.high as f64 => {
                tally.nearly_all += 1
            }
            Ok(said) => tally.add(&said, week.records_in_the_end(age_days)),
            Err(reason) => {
                tally.silent += 1;
                tally.paused += u32::from(matches!(reason, NotKnown::Paused { .. }));
            }
        }
    }
}

fn main() {
    println!("# How well the expected final count of a young week keeps its word\n");
    println!(
        "Written by `cargo run --example backtest_nowcast`; invented seasons, final counts known.\n"
    );
    println!(
        "{REGIONS} regions a setting with {SEASONS} seasons of {WEEKS} weeks, seed {SEED}. Each week from season {} on is looked at as it was 4, 7, 9 and 14 days after its Monday, with the earlier weeks as they stood then; the range is stated for 80%, and a week is final after {} days. Asked: 70–90% held, or no range. Of counties that come to be shown as visits come in, the visits of those shown at the look are counted and forecast.\n",
        SEASONS_FIRST + 1,
        FINAL.days
    );
    for habit in &HABITS {
        println!("- `{}`: {}.", habit.name, habit.says);
    }
    println!(
        "\n*There*: the share that is usually there at this age. *Width*: of the range, in percent of the expected count. *Off*: the expected count from the final one. Both are medians. *Nearly all*: the lower end of the share that is there rounds to 100%, so the page says that nearly all is in, without a range. *Silent*: nothing had arrived, or nothing is said; in brackets, because reports paused. *In the pause*: looks at a week with a day of the pause between its Monday and the look. 95% limits of the simulation are in brackets; they suppose independent looks.\n"
    );
    println!(
        "Above 90% are settings in which almost everything is there: a range of whole counts cannot be narrower than one count, which is then right oftener than asked. Below 70% is a large region whose scouts change their habits within few years: the first weeks of a season can only be judged by those of the season before, and then too much is expected. The range does not know of such changes, and the page says so. A pause in few visits looks like chance: of 20 visits a week a range is given in some pauses, and is wrong then.\n"
    );
    println!(
        "| habit | visits a week | age, days | looks | nearly all | silent | there % | held % | 70–90 | final above % | width % | off % |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|---|");
    let (mut held, mut looks) = (0, 0);
    for habit in &HABITS {
        for size in SIZES {
            let mut chance = ChaCha8Rng::seed_from_u64(SEED);
            let regions: Vec<Vec<Week>> = (0..REGIONS)
                .map(|_| habit.region(size, &mut chance))
                .collect();
            for age_days in AGES {
                let mut tallies: [Tally; 2] = Default::default();
                for weeks in &regions {
                    look_back(weeks, age_days, &mut tallies);
                }
                for (tally, words) in tallies.into_iter().zip(["", ", in the pause"]) {
                    held += tally.held;
                    looks += tally.looks;
                    if tally.looks + tally.silent + tally.nearly_all > 0 {
                        println!(
                            "| {}{words} | {size} | {age_days} | {} |",
                            habit.name,
                            tally.row()
                        );
                    }
                }
            }
        }
    }
    println!(
        "\nAll: {:.1}% of {looks} looks held.",
        100.0 * f64::from(held) / f64::from(looks)
    );
}
