//! How sure the figure of each reference visit is, with the clumping of its season.
//!
//! Neither F nor Student's distribution is a function of stock SQL, so it is computed here, row by row, from the table
//! `standing_visit`; what it means is described in `stats::sampling`.

use std::collections::HashMap;
use std::sync::Arc;

use arrow::array::{ArrayRef, BooleanArray, Float64Array, Int32Array, RecordBatch, StringArray};

use stats::sampling::clumped_mean::{ClumpedMean, MeanRange};
use stats::sampling::season_clumping::{FieldCounts, SeasonClumping};

use crate::stages::computed::seasons::{Sampled, Seasons};
use crate::stages::stage_rows::rows_of;
use scouting::failure::Failure;

/// With what probability the range holds the field's true mean.
const CONFIDENCE: f64 = 0.95;

/// More further sites than this are no advice to a scout: our choice.
const MOST_FURTHER_SITES: u32 = 24;

/// How sure one figure is.
#[derive(Default)]
struct Certainty {
    clumping: Option<SeasonClumping>,
    range: Option<MeanRange>,
    confidence: Option<f64>,
    probability: Option<f64>,
    undetermined: Option<bool>,
    further_sites: Option<i32>,
}

/// What was computed of the fields of some seasons.
pub(crate) struct KnownRanges<'a> {
    seasons: &'a Seasons,
    /// From this probability on a call is made: above 0.5 and below 1.
    certainty: f64,
    /// Ranges by k of the season, mean, sites and units: most fields of a season have one of a few hundred counts.
    ranges: HashMap<(u64, u64, u32, u32), Option<MeanRange>>,
}

impl KnownRanges<'_> {
    pub(crate) fn of(seasons: &Seasons, certainty: f64) -> KnownRanges<'_> {
        KnownRanges {
            seasons,
            certainty,
            ranges: HashMap::new(),
        }
    }

    /// Of each row of `standing_visit`: the columns that the head of `30_standing_visit.sql` describes.
    ///
    /// # Errors
    /// A [`Failure`] that names the column, if one is not what the stage promises.
    pub(crate) fn columns(
        &mut self,
        standing_visit: &RecordBatch,
    ) -> Result<[(&'static str, ArrayRef); 9], Failure> {
        let rows: Vec<Sampled<'_>> = rows_of(standing_visit, "standing_visit")?;
        let found: Vec<Certainty> = rows.iter().map(|row| self.certainty(row)).collect();
        let numbers = |of: fn(&Certainty) -> Option<f64>| -> ArrayRef {
            Arc::new(found.iter().map(of).collect::<Float64Array>())
        };
        let kinds = found.iter().map(|row| row.range.map(kind));
        let undetermined = found.iter().map(|row| row.undetermined);
        let further = found.iter().map(|row| row.further_sites);
        Ok([
            ("mean_low", numbers(|row| low(row.range?))),
            ("mean_high", numbers(|row| high(row.range?))),
            ("mean_range", Arc::new(kinds.collect::<StringArray>())),
            ("confidence_at_threshold", numbers(|row| row.confidence)),
            ("probability_at_threshold", numbers(|row| row.probability)),
            (
                "undetermined",
                Arc::new(undetermined.collect::<BooleanArray>()),
            ),
            ("further_sites", Arc::new(further.collect::<Int32Array>())),
            ("season_k", numbers(|row| Some(row.clumping?.k()))),
            (
                "season_k_information",
                numbers(|row| Some(row.clumping?.information())),
            ),
        ])
    }

    fn certainty(&mut self, row: &Sampled<'_>) -> Certainty {
        let Some(season) = self.seasons.season(row.season, row.protocol) else {
            return Certainty::default();
        };
        let field = row.counts();
        let clumping = season.clumping;
        let key = (
            clumping.k().to_bits(),
            field.mean.to_bits(),
            field.sites,
            field.units,
        );
        let range = *self.ranges.entry(key).or_insert_with(|| {
            let of = ClumpedMean::new(&field, &clumping)?;
            of.range(CONFIDENCE)
        });
        let mut found = Certainty {
            clumping: Some(clumping),
            range,
            ..Certainty::default()
        };
        // Too few fields to know the clumping: too few for a confidence as well.
        if matches!(range, None | Some(MeanRange::NotGiven)) {
            return found;
        }
        let threshold = row.threshold;
        found.confidence = season.confidence(&field, threshold);
        if row.is_counted() {
            found.probability = season.probability(&field, threshold);
            let is_call = |chance: f64| chance < 1.0 - self.certainty || self.certainty < chance;
            let chance = found.probability.or(found.confidence);
            found.undetermined = chance.map(|chance| !is_call(chance));
            if found.undetermined == Some(true) {
                found.further_sites = further_sites(&field, |field| {
                    let chance = season.probability(field, threshold);
                    let chance = chance.or_else(|| season.confidence(field, threshold));
                    chance.is_some_and(is_call)
                });
            }
        }
        found
    }
}

/// The fewest further sites after which a field with the same mean would be called; `None` where not even the most
/// would do.
fn further_sites(field: &FieldCounts, called: impl Fn(&FieldCounts) -> bool) -> Option<i32> {
    let with = |further: u32| {
        let sites = field.sites.saturating_add(further);
        let units = f64::from(field.units) / f64::from(field.sites) * f64::from(sites);
        FieldCounts {
            sites,
            units: units.round() as u32,
            ..*field
        }
    };
    let (mut too_few, mut enough) = (0, MOST_FURTHER_SITES);
    if !called(&with(enough)) {
        return None;
    }
    while enough - too_few > 1 {
        let middle = too_few.midpoint(enough);
        match called(&with(middle)) {
            true => enough = middle,
            false => too_few = middle,
        }
    }
    i32::try_from(enough).ok()
}

fn low(range: MeanRange) -> Option<f64> {
    match range {
        MeanRange::Between { low, .. } | MeanRange::AtLeast(low) => Some(low),
        MeanRange::FewerThan(_) => Some(0.0),
        MeanRange::NotGiven => None,
    }
}

fn high(range: MeanRange) -> Option<f64> {
    match range {
        MeanRange::Between { high, .. } | MeanRange::FewerThan(high) => Some(high),
        MeanRange::AtLeast(_) | MeanRange::NotGiven => None,
    }
}

fn kind(range: MeanRange) -> &'static str {
    match range {
        MeanRange::Between { .. } => "between",
        MeanRange::FewerThan(_) => "fewer-than",
        MeanRange::AtLeast(_) => "at-least",
        MeanRange::NotGiven => "not-given",
    }
}
