//! How counts of several periods run off over time: the chain ladder, and how sure it is.
//!
//! Chain ladder and its over-dispersed Poisson form: Mack, T. 1993, ASTIN Bulletin 23:213–225; Renshaw, A.E.
//! & Verrall, R.J. 1998, Brit. Actuar. J. 4:903–923. How sure: England, P. & Verrall, R. 1999, Insur. Math.
//! Econ. 25:281–293, and 2002, Brit. Actuar. J. 8:443–518, here in its parametric form (Björkwall, S.,
//! Hössjer, O. & Ohlsson, E. 2009, Scand. Actuar. J. 2009:306–331): counts are drawn anew from the fit
//! instead of residuals, which on small counts would give counts below 0. Nothing here knows of days or visits.

use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, Poisson};

/// Increments of several periods by step of development: a row a period, its first steps as far as they are
/// known.
#[derive(Debug, Clone, PartialEq)]
pub struct RunOff {
    /// Cumulative counts, at least one a row.
    cumulative: Vec<Vec<f64>>,
    steps: usize,
    /// From each step to the next: what the counts are multiplied by, volume-weighted.
    factors: Vec<f64>,
}

impl RunOff {
    /// A run-off of rows of increments, not below 0. `None` without a row that knows all steps, with a row
    /// without a step or with a wrong number, and where a step has counts in later ones but none before.
    pub fn new(increments: &[Vec<f64>]) -> Option<RunOff> {
        let usable = |row: &Vec<f64>| {
            !row.is_empty() && row.iter().all(|count| count.is_finite() && *count >= 0.0)
        };
        if !increments.iter().all(usable) {
            return None;
        }
        let cumulative: Vec<Vec<f64>> = increments.iter().map(|row| running_sums(row)).collect();
        let steps = cumulative.iter().map(Vec::len).max()?;
        let factors: Option<Vec<f64>> = (1..steps)
            .map(|step| factor_to(&cumulative, step))
            .collect();
        factors.map(|factors| RunOff {
            cumulative,
            steps,
            factors,
        })
    }

    /// The factors from each step to the next.
    pub fn factors(&self) -> &[f64] {
        &self.factors
    }

    /// What is expected after the last known step of a row, up to the last step of all.
    pub fn outstanding(&self, row: usize) -> f64 {
        let known = &self.cumulative[row];
        let latest = known[known.len() - 1];
        latest * (self.growth_after(known.len()) - 1.0)
    }

    /// Share of the final count that is expected to be there after so many steps.
    pub fn share_after(&self, steps: usize) -> f64 {
        1.0 / self.growth_after(steps)
    }

    /// Pearson's dispersion of the increments about the fit, 1 for Poisson's; `None` where there are no more
    /// cells than parameters.
    pub fn dispersion(&self) -> Option<f64> {
        let fitted = self.fitted_increments();
        let mut squares = 0.0;
        let mut cells = 0;
        for (known, fitted) in self.cumulative.iter().zip(&fitted) {
            for (count, mean) in increments_of(known)
                .zip(fitted)
                .filter(|(_, mean)| **mean > 0.0)
            {
                squares += (count - mean).powi(2) / mean;
                cells += 1;
            }
        }
        let rows = fitted
            .iter()
            .filter(|row| row.iter().any(|mean| *mean > 0.0))
            .count();
        let steps = (0..self.steps).filter(|step| {
            let column = fitted.iter().filter_map(|row| row.get(*step));
            column.into_iter().any(|mean| *mean > 0.0)
        });
        let parameters = (rows + steps.count()).saturating_sub(1);
        (cells > parameters).then(|| squares / (cells - parameters) as f64)
    }

    /// Pearson's dispersion of the first step and all later ones together, over the rows that know them all.
    /// Where slow periods stay slow, step by step, it is more than that of single steps, and it is the one
    /// that the outstanding counts of a row that knows its first step have. `None` for fewer than two rows.
    pub fn dispersion_after_first(&self) -> Option<f64> {
        let whole = self.cumulative.iter().filter(|row| row.len() == self.steps);
        let rows: Vec<Vec<f64>> = whole
            .map(|row| vec![row[0], row[row.len() - 1] - row[0]])
            .collect();
        RunOff::new(&rows)?.dispersion()
    }

    /// The same ladder with the rows that know the same steps added up, the last row kept by itself at the
    /// end. Counts drawn about sums are distributed as sums of counts drawn, at a fraction of the work.
    pub fn merged(&self) -> RunOff {
        let mut rows = self.cumulative.clone();
        let last = rows.pop();
        let mut sums: Vec<Vec<f64>> = Vec::new();
        for row in rows {
            match sums.iter_mut().find(|sum| sum.len() == row.len()) {
                Some(sum) => sum
                    .iter_mut()
                    .zip(row)
                    .for_each(|(sum, count)| *sum += count),
                None => sums.push(row),
            }
        }
        sums.extend(last);
        RunOff {
            cumulative: sums,
            ..self.clone()
        }
    }

    /// Draws of what comes after the last known step of each row: the counts are drawn anew about the fit, the
    /// ladder is fitted to them, and what comes is drawn about its expectation. Outer: draws; inner: rows. The
    /// dispersion is at least 1: whole counts scatter no less than chance.
    pub fn draw_outstanding(
        &self,
        dispersion: f64,
        draws: usize,
        chance: &mut ChaCha8Rng,
    ) -> Vec<Vec<f64>> {
        let dispersion = dispersion.max(1.0);
        let fitted = self.fitted_increments();
        let drawn = (0..draws).map(|_| {
            let again: Vec<Vec<f64>> = fitted
                .iter()
                .map(|row| {
                    row.iter()
                        .map(|mean| draw_count(*mean, dispersion, chance))
                        .collect()
                })
                .collect();
            // A draw without counts where the ladder must begin says nothing of what follows.
            let ladder = RunOff::new(&again).unwrap_or_else(|| self.clone());
            (0..again.len())
                .map(|row| ladder.draw_row(row, dispersion, chance))
                .collect()
        });
        drawn.collect()
    }

    fn draw_row(&self, row: usize, dispersion: f64, chance: &mut ChaCha8Rng) -> f64 {
        let known = &self.cumulative[row];
        let mut expected = known[known.len() - 1];
        let mut outstanding = 0.0;
        for factor in &self.factors[known.len() - 1..] {
            outstanding += draw_count(expected * (factor - 1.0), dispersion, chance);
            expected *= factor;
        }
        outstanding
    }

    fn growth_after(&self, steps: usize) -> f64 {
        self.factors[steps - 1..].iter().product()
    }

    /// The increments that the ladder gives back: each row from its latest count backwards.
    fn fitted_increments(&self) -> Vec<Vec<f64>> {
        let fitted = self.cumulative.iter().map(|known| {
            let mut backwards = vec![known[known.len() - 1]];
            for factor in self.factors[..known.len() - 1].iter().rev() {
                backwards.push(backwards[backwards.len() - 1] / factor);
            }
            backwards.reverse();
            increments_of(&backwards)
                .map(|count| count.max(0.0))
                .collect()
        });
        fitted.collect()
    }
}

fn running_sums(row: &[f64]) -> Vec<f64> {
    let sums = row.iter().scan(0.0, |sum, count| {
        *sum += count;
        Some(*sum)
    });
    sums.collect()
}

fn increments_of(cumulative: &[f64]) -> impl Iterator<Item = f64> {
    let before = std::iter::once(0.0).chain(cumulative.iter().copied());
    cumulative
        .iter()
        .zip(before)
        .map(|(count, before)| count - before)
}

/// The factor to a step from the one before, over the rows that know both; 1 where nothing ever came.
fn factor_to(cumulative: &[Vec<f64>], step: usize) -> Option<f64> {
    let known = cumulative.iter().filter(|row| row.len() > step);
    let (before, after) = known.fold((0.0, 0.0), |(before, after), row| {
        (before + row[step - 1], after + row[step])
    });
    match (before > 0.0, after > 0.0) {
        (true, _) => Some(after / before),
        (false, false) => Some(1.0),
        (false, true) => None,
    }
}

/// A count of this mean whose variance is the dispersion times it: Poisson's, or the negative binomial.
fn draw_count(mean: f64, dispersion: f64, chance: &mut ChaCha8Rng) -> f64 {
    if mean <= 0.0 {
        return 0.0;
    }
    let over = dispersion - 1.0;
    let rate = match Gamma::new(mean / over, over) {
        Ok(rates) if over > 1e-9 => rates.sample(chance),
        _ => mean,
    };
    Poisson::new(rate).map_or(0.0, |counts| counts.sample(chance))
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;

    use super::*;

    /// Taylor, G.C. & Ashe, F.R. 1983, J. Econometrics 23:37–61, cumulative, as in Mack 1993, table 1.
    const CLAIMS: [&[u32]; 10] = [
        &[
            357848, 1124788, 1735330, 2218270, 2745596, 3319994, 3466336, 3606286, 3833515, 3901463,
        ],
        &[
            352118, 1236139, 2170033, 3353322, 3799067, 4120063, 4647867, 4914039, 5339085,
        ],
        &[
            290507, 1292306, 2218525, 3235179, 3985995, 4132918, 4628910, 4909315,
        ],
        &[310608, 1418858, 2195047, 3757447, 4029929, 4381982, 4588268],
        &[443160, 1136350, 2128333, 2897821, 3402672, 3873311],
        &[396132, 1333217, 2180715, 2985752, 3691712],
        &[440832, 1288463, 2419861, 3483130],
        &[359480, 1421128, 2864498],
        &[376686, 1363294],
        &[344014],
    ];

    fn claims() -> RunOff {
        let increments = CLAIMS.iter().map(|row| {
            let cumulative: Vec<f64> = row.iter().map(|sum| f64::from(*sum)).collect();
            increments_of(&cumulative).collect()
        });
        RunOff::new(&increments.collect::<Vec<_>>()).expect("a whole triangle")
    }

    #[test]
    fn the_ladder_of_published_claims() {
        // Factors, reserves and dispersion as printed in Mack 1993 and England & Verrall 1999 (the latter
        // from memory).
        let claims = claims();
        let printed = [
            3.490607, 1.747333, 1.457413, 1.173852, 1.103824, 1.086269, 1.053874, 1.076555,
            1.017725,
        ];
        for (factor, printed) in claims.factors().iter().zip(printed) {
            assert!((factor - printed).abs() < 5e-7, "{factor}, {printed}");
        }
        let reserve: f64 = (0..10).map(|row| claims.outstanding(row)).sum();
        assert!((reserve - 18_680_856.0).abs() < 0.5, "{reserve}");
        assert!((claims.outstanding(9) - 4_625_811.0).abs() < 0.5);
        let dispersion = claims.dispersion().expect("55 cells and 19 parameters");
        assert!((dispersion - 52_601.0).abs() < 1.0, "{dispersion}");
    }

    #[test]
    fn drawn_reserves_scatter_as_published() {
        // Prediction error of all reserves by theory 16 %, of the youngest year 43 %: England & Verrall 1999,
        // table 2 (from memory). A thousand draws know a standard deviation to about 3 %.
        let claims = claims();
        let dispersion = claims.dispersion().expect("55 cells");
        let mut chance = ChaCha8Rng::seed_from_u64(1);
        let draws = claims.draw_outstanding(dispersion, 1000, &mut chance);
        let error_of = |values: Vec<f64>| {
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
            (squares / values.len() as f64).sqrt() / mean
        };
        let all = error_of(draws.iter().map(|rows| rows.iter().sum()).collect());
        let youngest = error_of(draws.iter().map(|rows| rows[9]).collect());
        assert!((0.14..0.18).contains(&all), "{all}");
        assert!((0.38..0.48).contains(&youngest), "{youngest}");
    }

    #[test]
    fn counts_are_drawn_with_their_mean_and_dispersion() {
        let mut chance = ChaCha8Rng::seed_from_u64(7);
        for dispersion in [1.0, 3.0] {
            let counts: Vec<f64> = (0..20_000)
                .map(|_| draw_count(4.0, dispersion, &mut chance))
                .collect();
            let mean = counts.iter().sum::<f64>() / 20_000.0;
            let variance = counts
                .iter()
                .map(|count| (count - mean).powi(2))
                .sum::<f64>()
                / 20_000.0;
            assert!((mean - 4.0).abs() < 0.1, "{mean}");
            assert!(
                (variance / (4.0 * dispersion) - 1.0).abs() < 0.08,
                "{variance}"
            );
            assert!(counts.iter().all(|count| count.fract() == 0.0));
        }
    }

    #[test]
    fn merged_rows_have_the_same_ladder() {
        let rows = [
            vec![6.0, 3.0, 1.0],
            vec![5.0, 2.0, 2.0],
            vec![4.0, 2.0],
            vec![7.0, 1.0],
            vec![3.0],
            vec![8.0],
        ];
        let ladder = RunOff::new(&rows).expect("whole rows");
        let merged = ladder.merged();
        assert_eq!(
            merged.cumulative,
            [
                vec![11.0, 16.0, 19.0],
                vec![11.0, 14.0],
                vec![3.0],
                vec![8.0]
            ]
        );
        let again = RunOff::new(&[vec![11.0, 5.0, 3.0], vec![11.0, 3.0], vec![3.0], vec![8.0]]);
        assert_eq!(again.expect("whole rows").factors(), ladder.factors());
        assert_eq!(merged.outstanding(3), ladder.outstanding(5));
    }

    #[test]
    fn what_has_no_ladder() {
        assert_eq!(RunOff::new(&[]), None);
        assert_eq!(RunOff::new(&[vec![]]), None);
        assert_eq!(RunOff::new(&[vec![1.0, -1.0]]), None);
        assert_eq!(RunOff::new(&[vec![0.0, 5.0], vec![3.0]]), None);
        let still = RunOff::new(&[vec![2.0, 0.0], vec![3.0]]).expect("counts in the first step");
        assert_eq!((still.factors(), still.outstanding(1)), (&[1.0][..], 0.0));
        assert_eq!(still.dispersion(), None);
    }
}
