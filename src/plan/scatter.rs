//! The dispersion among the sites of a field, for `bractline plan field`: a k that is assumed, the visits of a season, or
//! plants that are infested or not.

use arrow::array::{Array, AsArray, RecordBatch};
use arrow::datatypes::{Float64Type, Int32Type};

use super::threshold::wrong;
use crate::figures::rolled_up::Figures;
use crate::workspace::Workspace;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Protocol;
use stats::counts::power_law::{MeanVariance, PowerLaw, fit_power_law};
use stats::sampling::field_plan::SiteScatter;
use store::public::public_rows::Publishing;

/// Fewer visits than this make no law of a season. Our choice.
const VISITS_MIN: u64 = 10;
/// Below this k a stop line is far beyond anything that is counted. Our choice.
const K_MIN: f64 = 0.001;

/// The options that give the dispersion among sites.
#[derive(Debug)]
pub(crate) struct GivenScatter {
    /// Negative binomial k of the site totals, if you assume one
    pub(crate) k: Option<f64>,

    /// Season whose visits give the dispersion among sites (ISO week-year)
    pub(crate) season: Option<i32>,
}

impl GivenScatter {
    /// The dispersion among sites, and a sentence that says where it comes from.
    ///
    /// # Errors
    /// A [`Failure`] if nothing says so, or the season has too few visits.
    pub(crate) async fn of(
        &self,
        protocol: &Protocol,
        workspace: Option<&Workspace>,
    ) -> Result<(SiteScatter, String), Failure> {
        if protocol.sample.each_count_at_most == Some(1) {
            return self.of_presence(protocol);
        }
        match (self.k, self.season) {
            (Some(k), _) => of_k(k),
            (None, Some(season)) => of_season(protocol, season, workspace).await,
            (None, None) => Err(Failure::new(
                Kind::Settings,
                "the dispersion among the sites of a field is not known",
            )
            .at(format!("{}, --k and --season", protocol.id))
            .mend("name a season of the workspace's visits with --season, or assume a k with --k")),
        }
    }

    fn of_presence(&self, protocol: &Protocol) -> Result<(SiteScatter, String), Failure> {
        if self.k.is_some() || self.season.is_some() {
            let what = format!(
                "{} records only whether a plant is infested: such counts need no dispersion",
                protocol.id
            );
            return Err(Failure::new(Kind::Settings, what)
                .at("--k or --season")
                .mend("leave it out"));
        }
        let from = "The dispersion is assumed: each plant is infested or not by chance alone. Where infested plants are clumped, the answers are less sure than stated here.";
        Ok((SiteScatter::Presence, from.to_owned()))
    }
}

fn of_k(k: f64) -> Result<(SiteScatter, String), Failure> {
    if !(k.is_finite() && k >= K_MIN) {
        let right =
            format!("a number from {K_MIN}; a very large one is random (Poisson) dispersion");
        return Err(wrong("--k", &k, &right));
    }
    let from = format!(
        "The dispersion is assumed: k = {k} of the site totals, not estimated from your counts."
    );
    Ok((SiteScatter::TotalsWithK(k), from))
}

async fn of_season(
    protocol: &Protocol,
    season: i32,
    workspace: Option<&Workspace>,
) -> Result<(SiteScatter, String), Failure> {
    let workspace = workspace.ok_or_else(|| {
        Failure::new(
            Kind::Files,
            "--season needs a workspace, whose visits give the dispersion among sites",
        )
        .mend("name one with --workspace DIR, or assume a k with --k")
    })?;
    let figures = Figures::of(workspace, &Publishing::Nothing).await?;
    let law = season_law(&figures.rollup.field_week().batch, &protocol.id, season)?;
    let from = format!(
        "The dispersion is estimated from {} visits of the season {season}: the variance of site means is \
         {:.3} times the mean to the power {:.3} (Taylor's law).",
        law.samples, law.a_of_mean_variance, law.b,
    );
    let law = law.law_of_mean_variance();
    Ok((SiteScatter::MeansOfSites(law), from))
}

/// Taylor's law of the means of sites over the standing visits of a season.
fn season_law(field_week: &RecordBatch, protocol: &str, season: i32) -> Result<PowerLaw, Failure> {
    let protocols = field_week["protocol"].as_string::<i32>();
    let seasons = field_week["season"].as_primitive::<Int32Type>();
    let means = field_week["field_mean"].as_primitive::<Float64Type>();
    let variances = field_week["variance_between_sites"].as_primitive::<Float64Type>();
    let visits: Vec<MeanVariance> = (0..field_week.num_rows())
        .filter(|row| protocols.value(*row) == protocol && seasons.value(*row) == season)
        .filter(|row| variances.is_valid(*row))
        .map(|row| MeanVariance {
            mean: means.value(row),
            variance: variances.value(row),
        })
        .collect();
    fit_power_law(&visits)
        .filter(|law| law.samples >= VISITS_MIN)
        .ok_or_else(|| {
            Failure::new(
                Kind::Settings,
                format!("{season} has too few visits under {protocol} to estimate the dispersion among sites"),
            )
            .at(format!(
                "{} visits with more than one site; {VISITS_MIN} or more with something found are needed",
                visits.len()
            ))
            .mend("name a season with more visits, or assume a k with --k")
        })
}
