//! What the reference visits of a season say together: how clumped its counts are, and how its means are distributed.
//!
//! Ranges and calls of every week are based on all weeks of its season, so this is known before the first week of
//! a roll-up in parts is computed.

use std::collections::HashMap;

use arrow::array::RecordBatch;
use serde::Deserialize;

use stats::sampling::clumped_mean::ClumpedMean;
use stats::sampling::season_clumping::{FieldCounts, SeasonClumping};
use stats::sampling::season_means::SeasonMeans;

use crate::stages::engine::Parts;
use crate::stages::stage_rows::rows_of;
use scouting::failure::Failure;

/// What is known of a season under a protocol.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Season {
    pub(crate) clumping: SeasonClumping,
    /// The distribution of the means of the fields within the stage window; `None` of too few.
    means: Option<SeasonMeans>,
}

impl Season {
    pub(crate) fn confidence(&self, field: &FieldCounts, threshold: f64) -> Option<f64> {
        ClumpedMean::new(field, &self.clumping)?.confidence_at_or_above(threshold)
    }

    pub(crate) fn probability(&self, field: &FieldCounts, threshold: f64) -> Option<f64> {
        self.means?.probability_at_or_above(field, threshold)
    }
}

/// The columns of `standing_visit` that ranges and calls are computed from.
#[derive(Deserialize)]
pub(crate) struct Sampled<'a> {
    pub(crate) season: i32,
    pub(crate) protocol: &'a str,
    in_window: bool,
    after_treatment: bool,
    pub(crate) threshold: f64,
    sites: u32,
    units: u32,
    field_mean: f64,
    variance_between_sites: Option<f64>,
}

impl Sampled<'_> {
    /// Whether the field is called: within the stage window, and not soon after a treatment.
    pub(crate) fn is_counted(&self) -> bool {
        self.in_window && !self.after_treatment
    }

    pub(crate) fn counts(&self) -> FieldCounts {
        FieldCounts {
            sites: self.sites,
            units: self.units,
            mean: self.field_mean,
            variance_between_sites: self.variance_between_sites,
        }
    }
}

/// The fields of each season that no treatment went before, by year and protocol, each with whether it is within the stage
/// window.
#[derive(Debug, Default)]
pub(crate) struct SeasonFields(HashMap<(i32, String), Vec<(FieldCounts, bool)>>);

impl SeasonFields {
    /// Adds the rows of `standing_visit`.
    ///
    /// # Errors
    /// A [`Failure`] that names the column, if one is not what the stage promises.
    pub(crate) fn add(&mut self, standing_visit: &RecordBatch) -> Result<(), Failure> {
        for row in rows_of::<Sampled<'_>>(standing_visit, "standing_visit")? {
            let season = (row.season, row.protocol.to_owned());
            // A season of treated fields alone is one with nothing known.
            let fields = self.0.entry(season).or_default();
            if !row.after_treatment {
                fields.push((row.counts(), row.in_window));
            }
        }
        Ok(())
    }

    /// What they say together.
    pub(crate) fn seasons(self) -> Seasons {
        let seasons = self.0.into_iter().map(|(season, fields)| {
            let clumping = SeasonClumping::of(fields.iter().map(|(field, _)| *field));
            let within = fields.iter().filter(|(_, in_window)| *in_window);
            let means = SeasonMeans::of(within.map(|(field, _)| *field), clumping);
            (season, Season { clumping, means })
        });
        Seasons(seasons.collect())
    }
}

/// The seasons, by year and protocol.
#[derive(Debug)]
pub(crate) struct Seasons(HashMap<(i32, String), Season>);

impl Seasons {
    /// The seasons of a whole table.
    ///
    /// # Errors
    /// A [`Failure`] that names the column, if one is not what the stage promises.
    pub(crate) fn of(standing_visit: &Parts) -> Result<Seasons, Failure> {
        let mut fields = SeasonFields::default();
        for batch in standing_visit.iter().flatten() {
            fields.add(batch)?;
        }
        Ok(fields.seasons())
    }

    pub(crate) fn season(&self, year: i32, protocol: &str) -> Option<&Season> {
        self.0.get(&(year, protocol.to_owned()))
    }
}
