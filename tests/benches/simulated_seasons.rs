//! Seasons of one and the same pest, seen in more or fewer fields and weeks: which figures of a season move with the
//! effort, and which do not.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, LogNormal, StandardNormal};
use stats::trend::season_course::{WeekFigures, season_course};

const SEED: u64 = 20_260_721;
const SEASONS: u32 = 4_000;
const COUNTIES: usize = 8;
/// Spread of the fields of a county in a week, and of the counties: standard deviations of the logarithm.
const FIELDS_SPREAD: f64 = 0.8;
const COUNTIES_SPREAD: f64 = 0.4;

/// Sums of the figures of seasons, with how many had one.
#[derive(Default)]
struct Mean {
    sum: f64,
    squares: f64,
    count: u32,
}

impl Mean {
    fn add(&mut self, value: Option<f64>) {
        if let Some(value) = value {
            self.sum += value;
            self.squares += value * value;
            self.count += 1;
        }
    }

    fn said(&self) -> String {
        let count = f64::from(self.count);
        let mean = self.sum / count;
        let limit = 1.96 * ((self.squares / count - mean * mean) / count).sqrt();
        let without = SEASONS - self.count;
        let lacking = if without > 0 {
            format!(", {without} without")
        } else {
            String::new()
        };
        format!("{mean:.3} ± {limit:.3}{lacking}")
    }
}

/// Median pressure of a county's fields, and how many are at threshold.
fn county(level: f64, fields: usize, chance: &mut ChaCha8Rng) -> (f64, usize) {
    let spread = LogNormal::new(level.ln(), FIELDS_SPREAD).expect("a spread");
    let mut pressures: Vec<f64> = (0..fields).map(|_| spread.sample(chance)).collect();
    pressures.sort_by(f64::total_cmp);
    let median = (pressures[(fields - 1) / 2] + pressures[fields / 2]) / 2.0;
    (
        median,
        pressures
            .iter()
            .filter(|pressure| **pressure >= 1.0)
            .count(),
    )
}

/// The figures of seasons with so many fields a county and week, seen in these weeks of 10.
fn figures(fields: usize, weeks: std::ops::RangeInclusive<i32>) -> [Mean; 7] {
    let mut means: [Mean; 7] = Default::default();
    let mut chance = ChaCha8Rng::seed_from_u64(SEED);
    for _ in 0..SEASONS {
        let counties: Vec<f64> = (0..COUNTIES)
            .map(|_| {
                let own: f64 = StandardNormal.sample(&mut chance);
                (COUNTIES_SPREAD * own).exp()
            })
            .collect();
        let (mut visited, mut at_threshold) = (0, 0);
        let seen: Vec<WeekFigures> = weeks
            .clone()
            .map(|week| {
                // A wave with its height of 0.8 in the middle of the season.
                let level = 0.8 * (-f64::from(week - 5).powi(2) / 6.0).exp() + 0.02;
                let found: Vec<(f64, usize)> = counties
                    .iter()
                    .map(|own| county(own * level, fields, &mut chance))
                    .collect();
                let at: usize = found.iter().map(|(_, at)| at).sum();
                visited += fields * COUNTIES;
                at_threshold += at;
                WeekFigures {
                    week,
                    share_at_threshold: at as f64 / (fields * COUNTIES) as f64,
                    pressure: found.iter().map(|(median, _)| median).sum::<f64>() / COUNTIES as f64,
                }
            })
            .collect();
        let course = season_course(&seen).expect("a week");
        for (mean, value) in means.iter_mut().zip([
            Some(course.peak_pressure),
            course.first_at_threshold.map(f64::from),
            course.first_at_half.map(f64::from),
            Some(course.share_of_weeks_at_threshold()),
            Some(at_threshold as f64 / visited as f64),
            course.pressure_weeks,
            course.pressure_per_week(),
        ]) {
            mean.add(value);
        }
    }
    means
}

/// Which figures of a season follow the pest alone.
pub fn figures_by_effort() {
    println!("\n## Figures of a season, by fields and by weeks seen\n");
    println!(
        "{SEASONS} seasons of the same pest: a wave in ten weeks over {COUNTIES} counties. Means with their 95% limits; *without*: \
         seasons that never got there. Tested for a trend are the last three, and the first week at half of the threshold only \
         where every season got there. The share of fields does not move with the number of fields, but a \
         season seen in its middle alone has a higher one; the area moves with both, by less; the area by week moves most with \
         the weeks seen. So seasons seen in other weeks are compared with care.\n"
    );
    println!(
        "| fields a county and week | weeks | peak pressure | first week at threshold | first week at 0.5 | share of weeks at \
         threshold | share of fields at threshold | area | area by week |\n|---|---|---|---|---|---|---|---|---|"
    );
    for (fields, weeks) in [(3, 1..=10), (6, 1..=10), (12, 1..=10), (6, 3..=8)] {
        let cells = figures(fields, weeks.clone()).map(|mean| mean.said());
        println!(
            "| {fields} | {} to {} | {} |",
            weeks.start(),
            weeks.end(),
            cells.join(" | ")
        );
    }
}
