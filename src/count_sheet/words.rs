//! What a count sheet says to the scout, in plain words, for the workbook and the printed page alike.
//!
//! It takes every fact from the protocol and from `cautions.rs` and adds none of its own; how it looks is
//! decided in `workbook.rs` and `page.rs`.

use crate::shared::shown_numbers::{Units, count_of};
use jiff::civil::Date;

use crate::shared::count_words::CountWords;
use crate::shared::passages::{
    Passage, count_timing, one_line, passage, sentence_case, sites_by_area,
};
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::{Layout, Protocol};
use scouting::protocol::sheet_layout::{bracts_per_head, unit_name};
use scouting::visit::record::CountForm;

/// Rows of units that a sheet may have: more than this nobody fills, and a spreadsheet gets slow.
const UNIT_ROWS_MAX: usize = 20_000;
/// Bracts of a head for which a page or a screen has room.
const BRACTS_MAX: usize = 20;

/// What a count sheet is made for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetOptions {
    /// Visits that are laid out, at least one.
    pub visits: usize,
    /// Sites of a visit; the protocol's own number if `None`.
    pub sites: Option<usize>,
    /// First and last day that the sheet takes, both included.
    pub season: (Date, Date),
    /// Whether heads are counted with one total each, in place of a count for each bract.
    pub totals_only: bool,
    /// Units that the sheet proposes, and the form of its dates.
    pub units: Units,
    /// Name and version of the program, such as `bractline 0.1.0`.
    pub program: String,
}

/// The rows of a sheet, checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SheetPlan {
    /// Visits.
    pub visits: usize,
    /// Sites of a visit.
    pub sites: usize,
    /// Units of a site.
    pub units: usize,
    /// Bracts of a head; not used for plants and traps.
    pub bracts: usize,
    /// Whether one total for a head is taken in place of its bracts.
    pub totals: bool,
    /// Whether a head is asked for nothing but its total.
    pub totals_only: bool,
    /// Units that the sheet proposes, and the form of its dates.
    pub units_shown: Units,
    /// The most that one count can be.
    pub each_count_max: Option<u32>,
    /// Whether a trap's catch is divided by its nights.
    pub catch_by_night: bool,
    /// What is counted.
    pub form: CountForm,
    /// Where the sites are.
    pub layout: Layout,
}

impl SheetPlan {
    /// The plan of a protocol's sheet.
    ///
    /// # Errors
    /// A [`Failure`] if the sheet would have no row, or more than a person fills.
    pub fn of(protocol: &Protocol, options: &SheetOptions) -> Result<SheetPlan, Failure> {
        let plan = SheetPlan {
            visits: options.visits,
            sites: options.sites.unwrap_or(protocol.sample.sites_min),
            units: protocol.sample.units_per_site,
            bracts: bracts_per_head(protocol),
            totals: protocol.sample.unit_totals,
            totals_only: options.totals_only,
            units_shown: options.units,
            each_count_max: protocol.sample.each_count_at_most,
            catch_by_night: protocol.sample.catch_by_night,
            form: protocol.sample.form,
            layout: protocol.layout,
        };
        let rows = plan
            .visits
            .checked_mul(plan.sites)
            .and_then(|sites| sites.checked_mul(plan.units));
        let refused = |what: String| Err(Failure::new(Kind::Settings, what).at(&*protocol.id));
        if plan.totals_only && !(plan.totals && plan.form == CountForm::Heads) {
            return Err(Failure::new(
                Kind::Settings,
                format!(
                    "{} takes no total for a head: a sheet of totals would not load",
                    protocol.id
                ),
            )
            .at("--totals")
            .mend("leave --totals out; bractline protocols show ID says what is counted"));
        }
        match rows {
            Some(0) => {
                refused("a count sheet needs a visit, a site and a unit at least".to_owned())
            }
            Some(rows) if rows <= UNIT_ROWS_MAX => {
                if plan.form == CountForm::Heads && !(1..=BRACTS_MAX).contains(&plan.bracts) {
                    return refused(format!(
                        "a count sheet has room for 1 to {BRACTS_MAX} bracts per head, not {}",
                        plan.bracts
                    ));
                }
                Ok(plan)
            }
            _ => Err(Failure::new(
                Kind::Settings,
                format!("the count sheet would have more than {UNIT_ROWS_MAX} rows"),
            )
            .at(&*protocol.id)
            .mend("ask for fewer --visits or --sites")),
        }
    }

    /// What one unit is called in a sentence: `head`.
    pub fn unit(&self) -> String {
        unit_name(self.form).to_lowercase()
    }
}

/// The heading of the cautions; a survey speaks of no treatment.
pub(crate) fn cautions_heading(protocol: &Protocol) -> &'static str {
    match CountWords::of(protocol) {
        CountWords::Threshold | CountWords::Either => "Cautions: before anyone treats",
        CountWords::Risk => "Cautions",
    }
}

/// How to scout and count, whatever the sheet is made of.
pub fn scouting(protocol: &Protocol, plan: &SheetPlan) -> Vec<Passage> {
    let unit = plan.unit();
    let place = match plan.layout {
        Layout::Edge => "The sites are along the edge of the field.",
        Layout::Interior => "The sites are well inside the field, away from its edges.",
        Layout::Station => "Each site is a place where a trap hangs.",
    };
    vec![
        passage("Pest and crop", format!("{} on {}.", protocol.pest, protocol.crop)),
        passage(
            "When",
            format!(
                "Crop stages {} to {}. A count outside these stages is kept, but it cannot be compared with {}.{}",
                protocol.stages.first,
                protocol.stages.last,
                match CountWords::of(protocol) {
                    CountWords::Threshold | CountWords::Either => "the field's threshold",
                    CountWords::Risk => "the risk level",
                },
                count_timing(protocol).map_or_else(String::new, |said| format!(" {said}")),
            ),
        ),
        passage("Where", format!("{place} {}", one_line(&protocol.sample.plan))),
        passage(
            "How many",
            format!(
                "At least {} a visit, {} a site{}. This sheet has room for {} a visit.",
                count_of(protocol.sample.sites_min, "site", "sites"),
                count_of(plan.units, &unit, &format!("{unit}s")),
                sites_by_area(protocol, plan.units_shown).map_or_else(String::new, |more| format!("; {more}")),
                count_of(plan.sites, "site", "sites"),
            ),
        ),
        passage("What is counted", format!("{}. {}", sentence_case(&protocol.counted), how(plan))),
        passage(
            "Nothing found",
            format!(
                "Write 0 where you looked and found nothing. An empty box is never taken for 0: leave a {unit} \
                 empty only if you did not examine it."
            ),
        ),
        passage(
            "Use ID codes, not names",
            "Write the ID codes that your coordinator gave you for yourself, the field and the farm. No names \
             of people, no telephone numbers, no addresses, not even in the remarks."
                .to_owned(),
        ),
        passage(
            "Treated fields",
            format!(
                "Write the day and the kind of the latest treatment against this pest, if anybody knows it. Counts up to {} \
                 days after it are kept, but not used for the field's pressure.",
                protocol.after_treatment_days()
            ),
        ),
        passage(
            "When to submit",
            "On the visit date if you can. The alert is weekly, and a late visit \
             is counted in the week of its day."
                .to_owned(),
        ),
    ]
}

fn how(plan: &SheetPlan) -> String {
    match plan.form {
        CountForm::Heads if plan.totals_only => format!(
            "Examine {} of each head and write one total for the head.",
            count_of(plan.bracts, "bract", "bracts"),
        ),
        CountForm::Heads => format!(
            "Examine {} of each head and write one count for each bract{}.",
            count_of(plan.bracts, "bract", "bracts"),
            match plan.totals {
                true => ", or one total for the head: the same way for every head of a visit",
                false => "",
            }
        ),
        CountForm::Plants => match plan.each_count_max {
            Some(1) => "Write 1 for each plant that has any, 0 for each that has none.".to_owned(),
            Some(most) => format!("Write one count for each plant, {most} at the most."),
            None => "Write one count for each plant.".to_owned(),
        },
        CountForm::Traps if plan.catch_by_night => {
            "Write what each trap caught, and the number of nights since it was set or last emptied."
                .to_owned()
        }
        CountForm::Traps => {
            "Write all that each trap has caught since it was put up, and how many nights ago that was; keep a \
             running total if you empty it."
                .to_owned()
        }
    }
}

/// How to fill the workbook.
pub(crate) fn filling(plan: &SheetPlan) -> Vec<Passage> {
    let unit = plan.unit();
    vec![
        passage(
            "Tab Visits",
            "One row per visit: one field on one day. Write in the white cells; the gray ones are locked. A \
             heading with a corner mark shows a note when you point at it."
                .to_owned(),
        ),
        passage(
            "Tab Counts",
            format!(
                "One row per {unit}, under the number of its visit. Blank rows are ignored. If a visit \
                 has more sites, use the spare rows at the end and write the numbers yourself."
            ),
        ),
        passage(
            "Copying",
            "Paste values only: an ordinary paste takes the drop-down lists away. Rows, columns and tabs keep \
             their names and places; leave the row of what you did not examine blank, and do not delete it. A column \
             of your own to the right is not read."
                .to_owned(),
        ),
        passage(
            "Units",
            "Area, costs, prices and plants are in the unit next to them, which you can change: acres or hectares, pounds, hundredweights (cwt, 100 lb) or kilograms; amounts in dollars (or the main unit of the currency), not cents. An amount that you do not know stays blank. Positions in decimal degrees, \
             WGS 84, as a phone shows them."
                .to_owned(),
        ),
        passage(
            "Corrections",
            "Submit the corrected row again with its counts and with Revision raised to 2, then 3. Scout, field and \
             day must stay as they were: they are how the visit is known. If one of these was wrong, tell your \
             coordinator."
                .to_owned(),
        ),
    ]
}

/// Where the protocol's statements come from.
pub fn sources(protocol: &Protocol) -> Vec<Passage> {
    let mut passages = vec![
        passage("Sampling", one_line(&protocol.sample.source)),
        passage("Stages", one_line(&protocol.stages.source)),
        passage("Timing", one_line(&protocol.timing.source)),
    ];
    passages.extend(
        protocol
            .cautions
            .iter()
            .map(|caution| passage("Caution", one_line(&caution.source))),
    );
    passages
}
