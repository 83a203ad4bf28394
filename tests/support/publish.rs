//! An alert of a protocol for the pages.

use bractline::alert::bulletin::{Bulletin, ProtocolFacts, ThresholdBasis};
use bractline::figures::office::Office;
use bractline::seasons::season_so_far::SeasonSoFar;
use bractline::shared::shown_numbers::Units;
use disclosure::public_row::PublicRow;
use disclosure::rule::Rule;
use scouting::region::Region;
use scouting::visit::stage::StageScale;
use scouting::visit::week::Weeks;

pub fn protocol() -> ProtocolFacts {
    ProtocolFacts {
        id: "bsm-eggs".to_owned(),
        title: "Banded sunflower moth, eggs on bracts".to_owned(),
        crop: "sunflower".to_owned(),
        counted: "eggs per six bracts".to_owned(),
        threshold_name: "economic injury level".to_owned(),
        threshold_meaning: None,
        threshold_basis: ThresholdBasis::Economics,
        stage_window: "R2–R3".to_owned(),
        first_stage: "R2".to_owned(),
        scale: StageScale::Sunflower,
        days_after_treatment: 14,
        count_timing: None,
        treatment_window: None,
        next_step: None,
        treatment_stage: Some("R5.1".to_owned()),
        treatment: Some(
            "Treatment is timed to R5.1, not to the day when eggs are found.".to_owned(),
        ),
        hatch: Some("Eggs hatch in five to eight days.".to_owned()),
        worked: None,
        threshold_tables: Vec::new(),
        units: Units::Us,
        source: "J. Econ. Entomol. 101(3):969–975 (2008)".to_owned(),
        cautions: vec!["The six-bract count replaces no look at the larvae.".to_owned()],
        cautions_at_top: Vec::new(),
    }
}

pub static NO_SEASON: SeasonSoFar = SeasonSoFar {
    weeks: Vec::new(),
    earlier: Vec::new(),
    pressure: Vec::new(),
    stages: Vec::new(),
};

pub static NO_OFFICE: Office = Office {
    name: String::new(),
    contact: String::new(),
    footer: String::new(),
    logo: None,
};
static ISO_WEEKS: Weeks = Weeks::ISO;

pub fn bulletin<'a>(
    region: &'a Region,
    rows: &'a [PublicRow],
    previous: Option<&'a [PublicRow]>,
    protocol: &'a ProtocolFacts,
) -> Bulletin<'a> {
    Bulletin {
        iso_week: "2026-W30",
        weeks: &ISO_WEEKS,
        region,
        rows,
        rule: &Rule::LEAST,
        visits_until: Some(jiff::civil::date(2026, 7, 26)),
        previous,
        last_week: None,
        so_far: &NO_SEASON,
        protocol,
        contact: "",
        office: &NO_OFFICE,
        season_now: Some("Mean pressure of the counties shown is 0.62 & level."),
        still_to_come: "How much is still to come is not known.",
        arrived: None,
        generated_at: "July 27, 2026, 06:00 UTC",
        program_version: "bractline 0.1.0",
        store_version: 7,
        note: None,
        issue: None,
        public_folder: None,
    }
}
