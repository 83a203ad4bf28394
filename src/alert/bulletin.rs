//! What an alert is made from: the same for its page and for its text.

use jiff::civil::Date;

use super::issue::facts::Issue;
use super::note::rendered::Note;
use super::page::worked::WorkedThreshold;
use crate::figures::office::Office;
use crate::plan::threshold_table::ShownTable;
use crate::plan::threshold_words::caption;
use crate::seasons::season_so_far::SeasonSoFar;
use crate::shared::count_words::CountWords;
use crate::shared::shown_numbers::Units;
use disclosure::public_row::PublicRow;
use disclosure::rule::Rule;
use scouting::failure::{Failure, Kind};
use scouting::region::Region;
use scouting::visit::stage::StageScale;
use scouting::visit::week::{IsoWeek, Weeks};

/// What a page is made from.
#[derive(Debug, Clone, Copy)]
pub struct Bulletin<'a> {
    /// Name of the week, as `2026-W30`.
    pub iso_week: &'a str,
    /// The days of each week.
    pub weeks: &'a Weeks,
    /// The counties.
    pub region: &'a Region,
    /// The public rows of this week under this protocol.
    pub rows: &'a [PublicRow],
    /// The rule that the rows were made by.
    pub rule: &'a Rule,
    /// Day of the newest submission; `None` if there is none.
    pub visits_until: Option<Date>,
    /// Those of the week before, if there are any.
    pub previous: Option<&'a [PublicRow]>,
    /// The week before, if it has public rows, with how much of it has come in.
    pub last_week: Option<LastWeek<'a>>,
    /// The region's season as far as this week, and the earlier ones.
    pub so_far: &'a SeasonSoFar,
    /// What was counted, and what it means.
    pub protocol: &'a ProtocolFacts,
    /// Who publishes and how to reach them; empty if that is not set.
    pub contact: &'a str,
    /// The office as its page shows it.
    pub office: &'a Office,
    /// When the page was made, as the caller words it; nothing here reads a clock.
    pub generated_at: &'a str,
    /// How the week compares with earlier seasons, in a sentence; `None` where nothing is shown.
    pub season_now: Option<&'a str>,
    /// How much of the week's reports had come in by then, in a sentence.
    pub still_to_come: &'a str,
    /// The same in a few words, where it is known.
    pub arrived: Option<&'a str>,
    /// Name and version of the program, such as `bractline 0.1.0`.
    pub program_version: &'a str,
    /// The version of the store that the figures were rolled up from.
    pub store_version: i64,
    /// The entomologist's own words.
    pub note: Option<&'a Note>,
    /// What it is issued as; `None` of a draft.
    pub issue: Option<&'a Issue>,
    /// Address of its folder at the public place, with a slash at its end; `None` of a draft, or where the office has not set
    /// its address.
    pub public_folder: Option<&'a str>,
}

/// The week before that of a page, which is more complete.
#[derive(Debug, Clone, Copy)]
pub struct LastWeek<'a> {
    /// The week.
    pub week: IsoWeek,
    /// Its public rows under the protocol of the page.
    pub rows: &'a [PublicRow],
    /// How much of its reports had come in, in a sentence.
    pub reporting: &'a str,
}

impl Bulletin<'_> {
    /// The week.
    ///
    /// # Errors
    /// A [`Failure`] if `iso_week` names none.
    pub(crate) fn week(&self) -> Result<IsoWeek, Failure> {
        self.iso_week.parse().map_err(|why: String| {
            Failure::new(Kind::Publish, why).mend("write the week as 2026-W30")
        })
    }
}

/// What a threshold is based on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ThresholdBasis {
    /// The economics of each field.
    Economics,
    /// A value that does not depend on costs and prices.
    Fixed,
    /// A fixed level at which a catch says to scout the plants.
    Scouting,
    /// A risk level of the region.
    Region,
}

impl ThresholdBasis {
    /// A phrase after the name of the threshold.
    pub fn words(self) -> &'static str {
        match self {
            ThresholdBasis::Economics => {
                "computed from the field's treatment cost, market price and plant population"
            }
            ThresholdBasis::Fixed => "a fixed value, not computed from costs and prices",
            ThresholdBasis::Scouting => {
                "a fixed value, used here as the level at which to scout the plants; it decides nothing about treating them"
            }
            ThresholdBasis::Region => {
                "a risk level of the region, which decides nothing for a single field"
            }
        }
    }
}

/// What a page says about a protocol, in words for readers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProtocolFacts {
    /// The protocol's id, such as `bsm-eggs`.
    pub id: String,
    /// Such as `Banded sunflower moth, eggs on bracts`.
    pub title: String,
    /// The crop.
    pub crop: String,
    /// What the field mean counts, such as `eggs per six bracts`.
    pub counted: String,
    /// What its source calls the level: `economic injury level`, `economic threshold`, `action threshold` or `regional
    /// risk class`.
    pub threshold_name: String,
    /// What that name means, a phrase; `None` where it does not describe this level.
    pub threshold_meaning: Option<&'static str>,
    /// What the threshold is based on.
    pub threshold_basis: ThresholdBasis,
    /// The crop stages at which the count is valid, such as `R2–R3`.
    pub stage_window: String,
    /// The first of them.
    pub first_stage: String,
    /// The scale that they are on.
    pub scale: StageScale,
    /// Days after a treatment in which counts are left out.
    pub days_after_treatment: u8,
    /// Which counts of these stages are early, or late for treatment, in sentences.
    pub count_timing: Option<String>,
    /// The crop stages in which treatment works, such as `R5.0–R5.4`, if the protocol names them.
    pub treatment_window: Option<String>,
    /// What to do next, in a few words, where the count decides about no treatment.
    pub next_step: Option<String>,
    /// The crop stage at which to treat, such as `R5.1`, if the protocol names one.
    pub treatment_stage: Option<String>,
    /// When to treat and why then, in sentences.
    pub treatment: Option<String>,
    /// What becomes of the eggs, or whatever is counted, and when; in sentences.
    pub hatch: Option<String>,
    /// A threshold worked out for one field, if the protocol gives the economics of one.
    pub worked: Option<WorkedThreshold>,
    /// Thresholds by treatment cost and market price, in the office's units and in the others; none of a fixed threshold.
    pub threshold_tables: Vec<ShownTable>,
    /// Units of the office.
    pub units: Units,
    /// Where the threshold was published.
    pub source: String,
    /// The protocol's own cautions, a sentence or more each.
    pub cautions: Vec<String>,
    /// Those of them that are at the top of the alert, too.
    pub cautions_at_top: Vec<String>,
}

impl ProtocolFacts {
    /// How texts name its places and its level.
    pub fn words(&self) -> CountWords {
        match self.threshold_basis {
            ThresholdBasis::Economics | ThresholdBasis::Fixed => CountWords::Threshold,
            ThresholdBasis::Scouting | ThresholdBasis::Region => CountWords::Risk,
        }
    }

    /// The level with whose it is: `its own economic injury level`, `the risk level`.
    pub(crate) fn level_of_one(&self) -> String {
        match self.threshold_basis {
            ThresholdBasis::Economics => format!("its own {}", self.threshold_name),
            ThresholdBasis::Fixed => format!("the {}", self.threshold_name),
            ThresholdBasis::Scouting | ThresholdBasis::Region => "the risk level".to_owned(),
        }
    }

    /// The same of several fields.
    pub(crate) fn level_of_several(&self) -> String {
        self.level_of_one().replacen("its own", "their own", 1)
    }

    /// What pressure is, and what its level means, in a sentence or two.
    pub(crate) fn pressure_in_words(&self) -> String {
        let (words, counted) = (self.words(), &self.counted);
        let (name, basis) = (&self.threshold_name, self.threshold_basis.words());
        let start = match words {
            CountWords::Risk => format!(
                "Pressure is a {}'s mean count ({counted}) divided by the risk level. Its source calls that level {name}: \
                 {basis}. 1 is {}.",
                words.one(),
                words.at()
            ),
            CountWords::Threshold | CountWords::Either => format!(
                "Pressure is a {}'s mean count ({counted}) divided by the {name} ({basis}); 1 is {}.",
                words.one(),
                words.at()
            ),
        };
        match self.threshold_meaning {
            Some(meaning) => format!("{start} The {name} is {meaning}."),
            None => start,
        }
    }

    /// What a table of thresholds is, in a sentence or two.
    pub(crate) fn caption_of(&self, table: &ShownTable) -> String {
        caption(table, &self.threshold_name, &self.counted)
    }

    /// The heading of what to do, or to consider, after the figures.
    pub(crate) fn next_heading(&self) -> String {
        match &self.next_step {
            Some(step) => format!("What to do next: {step}"),
            None => "Treatment timing (only if your own field is at threshold)".to_owned(),
        }
    }

    /// What figures of a county are not.
    pub(crate) fn county_figures(&self) -> &'static str {
        match self.words() {
            CountWords::Threshold | CountWords::Either => {
                "County figures are not a treatment recommendation."
            }
            CountWords::Risk => {
                "A trap's catch shows where to scout; it decides nothing for a field."
            }
        }
    }
}
