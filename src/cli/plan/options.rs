//! Options of `bractline plan`: the threshold of the field or its economics, and the dispersion among its sites.

use crate::plan::scatter::GivenScatter;
use crate::plan::threshold::GivenThreshold;

/// The options that say of what field the threshold is.
#[derive(Debug, clap::Args)]
pub(in crate::cli) struct ThresholdArguments {
    /// Threshold of the field, as a count per unit, instead of its economics
    #[arg(long, value_name = "NUMBER", conflicts_with_all = ["treatment_cost", "market_value", "plants"], allow_negative_numbers = true)]
    threshold: Option<f64>,

    #[command(flatten)]
    economics: EconomicsArguments,
}

impl ThresholdArguments {
    /// The options as the planner takes them.
    pub(in crate::cli) fn given(self) -> GivenThreshold {
        self.economics.given(self.threshold)
    }
}

/// The options that give a field's economics, its type of crop and its stage.
#[derive(Debug, clap::Args)]
pub(in crate::cli) struct EconomicsArguments {
    /// Cost of one treatment, as 8/acre or 20/ha
    #[arg(long, value_name = "AMOUNT/UNIT")]
    treatment_cost: Option<String>,

    /// Market price, as 16/cwt, 0.16/lb or 0.35/kg
    #[arg(long, value_name = "AMOUNT/UNIT")]
    market_value: Option<String>,

    /// Plant population, as 20000/acre or 49000/ha
    #[arg(long, value_name = "COUNT/UNIT")]
    plants: Option<String>,

    /// Crop type, whose [defaults] fill in what is missing [default: the first in the protocol]
    #[arg(long, value_name = "TYPE")]
    crop_type: Option<String>,

    /// Crop stage at scouting [default: the first of the protocol's window]
    #[arg(long, value_name = "STAGE")]
    stage: Option<String>,
}

impl EconomicsArguments {
    /// The options as the planner takes them, with a threshold in place of economics if one is given.
    pub(in crate::cli) fn given(self, threshold: Option<f64>) -> GivenThreshold {
        GivenThreshold {
            threshold,
            treatment_cost: self.treatment_cost,
            market_value: self.market_value,
            plants: self.plants,
            crop_type: self.crop_type,
            stage: self.stage,
        }
    }
}

/// The options that give the dispersion among sites.
#[derive(Debug, clap::Args)]
pub(in crate::cli) struct ScatterArguments {
    /// Negative binomial k of the site totals, if you assume one
    #[arg(long, value_name = "NUMBER", allow_negative_numbers = true)]
    k: Option<f64>,

    /// Season whose visits give the dispersion among sites (ISO week-year)
    #[arg(long, value_name = "YEAR", conflicts_with = "k")]
    season: Option<i32>,
}

impl ScatterArguments {
    /// The options as the planner takes them.
    pub(in crate::cli) fn given(self) -> GivenScatter {
        GivenScatter {
            k: self.k,
            season: self.season,
        }
    }
}
