//! What is usual: running medians of the economics, by season, crop type and currency.
//!
//! Amounts are counted in steps of one per cent, so that a median takes memory in proportion to the
//! different amounts and not to the visits; it is good to half a per cent, where a doubt asks for fivefold.

use std::collections::BTreeMap;

use scouting::visit::rules::doubts::{MEDIAN_VISITS_MIN, Usual};

/// Ratio of one step to the one below.
const STEP: f64 = 1.01;

/// The amounts of a visit in canonical units.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Amounts<'a> {
    /// ISO week-year.
    pub season: i32,
    /// Crop type of the field.
    pub crop_type: &'a str,
    /// ISO 4217 code of both amounts of money.
    pub currency: &'a str,
    /// Money per hectare.
    pub treatment_cost_per_ha: Option<f64>,
    /// Money per kilogram.
    pub market_value_per_kg: Option<f64>,
    /// Plants per hectare.
    pub plants_per_ha: Option<f64>,
}

/// The medians of every season.
#[derive(Debug, Default)]
pub(crate) struct UsualAmounts {
    /// A few seasons and crop types: looking through them is quicker than hashing.
    crops: Vec<CropMedians>,
}

/// The medians of one season and crop type.
#[derive(Debug)]
struct CropMedians {
    season: i32,
    crop_type: String,
    plants: RunningMedian,
    money: Vec<MoneyMedians>,
}

/// Those of one currency.
#[derive(Debug)]
struct MoneyMedians {
    currency: String,
    costs: RunningMedian,
    values: RunningMedian,
}

impl UsualAmounts {
    /// Counts the amounts of an accepted visit; those that are not given are passed over.
    pub(crate) fn add(&mut self, amounts: &Amounts<'_>) {
        let (season, crop_type) = (amounts.season, amounts.crop_type);
        let known = self
            .crops
            .iter()
            .position(|crop| crop.is(season, crop_type));
        let place = known.unwrap_or_else(|| {
            self.crops.push(CropMedians {
                season,
                crop_type: crop_type.to_owned(),
                plants: RunningMedian::default(),
                money: Vec::new(),
            });
            self.crops.len() - 1
        });
        let crop = &mut self.crops[place];
        if let Some(plants) = amounts.plants_per_ha {
            crop.plants.add(plants);
        }
        let money = crop.money_in(amounts.currency);
        if let Some(cost) = amounts.treatment_cost_per_ha {
            money.costs.add(cost);
        }
        if let Some(value) = amounts.market_value_per_kg {
            money.values.add(value);
        }
    }

    /// What is usual for a season, crop type and currency.
    pub(crate) fn usual(&self, season: i32, crop_type: &str, currency: &str) -> Usual {
        let crop = self.crops.iter().find(|crop| crop.is(season, crop_type));
        let money =
            crop.and_then(|crop| crop.money.iter().find(|money| money.currency == currency));
        Usual {
            treatment_cost_per_ha: money.and_then(|money| money.costs.median()),
            market_value_per_kg: money.and_then(|money| money.values.median()),
            plants_per_ha: crop.and_then(|crop| crop.plants.median()),
        }
    }
}

impl CropMedians {
    fn is(&self, season: i32, crop_type: &str) -> bool {
        self.season == season && self.crop_type == crop_type
    }

    fn money_in(&mut self, currency: &str) -> &mut MoneyMedians {
        let known = self
            .money
            .iter()
            .position(|money| money.currency == currency);
        let place = known.unwrap_or_else(|| {
            self.money.push(MoneyMedians {
                currency: currency.to_owned(),
                costs: RunningMedian::default(),
                values: RunningMedian::default(),
            });
            self.money.len() - 1
        });
        &mut self.money[place]
    }
}

/// The lower median of positive amounts, kept while they are added.
#[derive(Debug, Default)]
struct RunningMedian {
    /// How many amounts are in each step.
    steps: BTreeMap<i32, u64>,
    total: u64,
    /// The step that holds the median.
    middle: i32,
    /// Amounts in the steps below it.
    below: u64,
}

impl RunningMedian {
    fn add(&mut self, amount: f64) {
        let step = (amount.ln() / STEP.ln()).round() as i32;
        *self.steps.entry(step).or_default() += 1;
        if self.total == 0 {
            self.middle = step;
        } else if step < self.middle {
            self.below += 1;
        }
        self.total += 1;
        self.move_to_the_middle();
    }

    /// One amount more moves the median by one step that is not empty, at the most.
    fn move_to_the_middle(&mut self) {
        let rank = (self.total - 1) / 2;
        if self.below > rank {
            if let Some((step, count)) = self.steps.range(..self.middle).next_back() {
                self.middle = *step;
                self.below -= count;
            }
        } else if self.below + self.steps[&self.middle] <= rank {
            let count = self.steps[&self.middle];
            if let Some((step, _)) = self.steps.range(self.middle + 1..).next() {
                self.middle = *step;
                self.below += count;
            }
        }
    }

    fn median(&self) -> Option<f64> {
        (self.total >= MEDIAN_VISITS_MIN).then(|| STEP.powi(self.middle))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_is_that_of_all_amounts_so_far() {
        let mut running = RunningMedian::default();
        let mut amounts: Vec<f64> = Vec::new();
        for place in 0..500_u32 {
            // Up and down over four powers of ten, with repetitions.
            let amount = f64::from(place * 7_919 % 97 + 1).powi(2);
            running.add(amount);
            amounts.push(amount);
            amounts.sort_by(f64::total_cmp);
            let expected = amounts[(amounts.len() - 1) / 2];
            match running.median() {
                Some(median) => {
                    assert!(
                        (median / expected - 1.0).abs() < 0.006,
                        "{median} {expected}"
                    );
                }
                None => assert!(amounts.len() < MEDIAN_VISITS_MIN as usize),
            }
        }
    }
}
