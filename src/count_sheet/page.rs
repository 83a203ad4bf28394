//! The count sheet as a page to print: one HTML file, first what to do, then a page a visit to write on.
//!
//! Black on white for any printer, on A4 or Letter paper. The words are in `sheet_words.rs`. What is written
//! by hand goes into the workbook later, so both carry the same names and numbers.

use askama::Template;

use super::entries::day_text;
use super::words::{SheetOptions, SheetPlan, cautions_heading, scouting, sources};
use super::workbook::day_form;
use crate::shared::cautions::OF_ONE_FIELD;
use crate::shared::passages::{Passage, cautions, safety, sentence_case};
use crate::shared::shown_numbers::{Units, count_of};
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::{Layout, Protocol};
use scouting::protocol::sheet_layout::{CountColumn, VisitColumn, unit_name};
use scouting::visit::record::{CountForm, TreatmentKind};

/// Plants on a line of boxes.
const PLANTS_A_LINE: usize = 10;

/// The page for a protocol, as HTML that needs no other file.
///
/// # Errors
/// A [`Failure`] if the plan has no row or too many.
pub fn count_sheet_page(protocol: &Protocol, options: &SheetOptions) -> Result<String, Failure> {
    let plan = SheetPlan::of(protocol, options)?;
    let page = Page {
        protocol,
        season: format!(
            "{} to {}",
            day_text(options.season.0, options.units),
            day_text(options.season.1, options.units)
        ),
        program: &options.program,
        unit: unit_name(plan.form),
        size: format!(
            "{} of {}",
            count_of(plan.sites, "site", "sites"),
            count_of(plan.units, &plan.unit(), &format!("{}s", plan.unit()))
        ),
        scouting: scouting(protocol, &plan),
        safety: safety(),
        cautions_heading: cautions_heading(protocol),
        cautions: cautions(protocol),
        sources: sources(protocol),
        in_one_sentence: OF_ONE_FIELD,
        visits: (1..=plan.visits).collect(),
        blanks: blanks(protocol, options.units),
        with_side: plan.layout == Layout::Edge,
        sums: sums(&plan),
        count_heading: match plan.each_count_max {
            _ if plan.totals_only => format!(
                "Total of the {} for each {}",
                count_of(plan.bracts, "bract", "bracts"),
                plan.unit()
            ),
            Some(1) => format!(
                "1 for each {} that has any, 0 for one that has none",
                plan.unit()
            ),
            _ => format!("Count on each {}", plan.unit()),
        },
        headings: headings(&plan),
        sites: (1..=plan.sites).collect(),
        lines: lines(&plan),
        boxes_a_line: boxes_a_line(&plan),
    };
    page.render().map_err(|error| {
        Failure::because(
            Kind::Publish,
            "cannot write the page of the count sheet",
            error,
        )
        .at(&*protocol.id)
    })
}

#[derive(Template)]
#[template(path = "count_sheet.html", config = "src/shared/templates/askama.toml")]
struct Page<'a> {
    protocol: &'a Protocol,
    season: String,
    program: &'a str,
    unit: &'a str,
    size: String,
    scouting: Vec<Passage>,
    safety: Vec<Passage>,
    cautions_heading: &'static str,
    cautions: Vec<Passage>,
    sources: Vec<Passage>,
    in_one_sentence: &'a str,
    visits: Vec<usize>,
    /// Blanks under the counts: the sum, the mean, the threshold.
    sums: Vec<String>,
    blanks: Vec<Blank>,
    with_side: bool,
    /// The text above the boxes where each has its own number.
    count_heading: String,
    /// Headings of the boxes of a line; none where each box has its own number.
    headings: Vec<String>,
    sites: Vec<usize>,
    /// The lines of one site, the same at every site.
    lines: Vec<Line>,
    boxes_a_line: usize,
}

/// A place to write on above the counts.
struct Blank {
    name: &'static str,
    unit: &'static str,
    /// Columns of twelve.
    width: usize,
    /// Word before those to tick: `per`.
    before: &'static str,
    /// Words to tick.
    choices: Vec<String>,
}

/// A line of boxes.
struct Line {
    /// Number of the unit, if the line is one.
    unit: Option<usize>,
    /// For each box the number in it, if each is a unit.
    boxes: Vec<Option<usize>>,
    /// Boxes that the line lacks, compared with a full one.
    lacking: usize,
}

/// The blanks of a visit, about in the order of the workbook's columns: each line is twelve columns wide. Currency and
/// revision are the coordinator's, who types the sheet in.
fn blanks(protocol: &Protocol, units: Units) -> Vec<Blank> {
    let words = |words: &[&str]| words.iter().map(|&word| word.to_owned()).collect();
    let blank = |column: VisitColumn, width, choices| Blank {
        name: column.name(),
        unit: column.unit(),
        width,
        before: "per",
        choices,
    };
    // The office's own unit is the first to tick.
    let (area, weight) = match units {
        Units::Us => (["acre", "ha"], ["cwt", "lb", "kg"]),
        Units::Metric => (["ha", "acre"], ["kg", "cwt", "lb"]),
    };
    vec![
        Blank {
            unit: VisitColumn::Day.unit_with(day_form(units)),
            ..blank(VisitColumn::Day, 3, Vec::new())
        },
        blank(VisitColumn::Scout, 3, Vec::new()),
        blank(VisitColumn::Field, 3, Vec::new()),
        blank(VisitColumn::Farm, 3, Vec::new()),
        blank(VisitColumn::Longitude, 3, Vec::new()),
        blank(VisitColumn::Latitude, 3, Vec::new()),
        Blank {
            unit: "",
            before: "",
            ..blank(VisitColumn::Area, 4, words(&area))
        },
        Blank {
            unit: "",
            ..blank(VisitColumn::CropStage, 2, Vec::new())
        },
        Blank {
            unit: "tick one",
            before: "",
            ..blank(VisitColumn::CropType, 8, protocol.crop_types.clone())
        },
        blank(VisitColumn::Cost, 4, words(&area)),
        blank(VisitColumn::Value, 4, words(&weight)),
        blank(VisitColumn::Plants, 4, words(&area)),
        Blank {
            unit: VisitColumn::TreatedOn.unit_with(day_form(units)),
            ..blank(VisitColumn::TreatedOn, 4, Vec::new())
        },
        Blank {
            unit: "tick one, if known",
            before: "",
            ..blank(
                VisitColumn::Treatment,
                6,
                words(&TreatmentKind::ALL.map(TreatmentKind::name)),
            )
        },
        blank(VisitColumn::Remarks, 6, Vec::new()),
    ]
}

/// What a scout works out in the field: the sum of all sites, the mean and the threshold.
fn sums(plan: &SheetPlan) -> Vec<String> {
    if plan.form == CountForm::Traps {
        return Vec::new();
    }
    let unit = plan.unit();
    vec![
        "Total of all sites".to_owned(),
        format!("{}s counted", sentence_case(&unit)),
        "Mean: total \u{f7} counted".to_owned(),
        "Threshold of this field".to_owned(),
        "Mean \u{f7} threshold".to_owned(),
    ]
}

/// Whether each unit is one box: a plant, or a head of which the total is written.
fn is_one_box(plan: &SheetPlan) -> bool {
    plan.form == CountForm::Plants || plan.totals_only
}

fn headings(plan: &SheetPlan) -> Vec<String> {
    if is_one_box(plan) {
        return Vec::new();
    }
    match plan.form {
        CountForm::Plants => Vec::new(),
        CountForm::Heads | CountForm::Traps => {
            CountColumn::counts(plan.form, plan.bracts, plan.totals)
                .into_iter()
                .map(|column| {
                    let since = if plan.catch_by_night || plan.form == CountForm::Heads {
                        ""
                    } else {
                        " since the trap was put up"
                    };
                    column.name() + since
                })
                .collect()
        }
    }
}

fn boxes_a_line(plan: &SheetPlan) -> usize {
    match is_one_box(plan) {
        true => plan.units.min(PLANTS_A_LINE),
        false => CountColumn::counts(plan.form, plan.bracts, plan.totals).len(),
    }
}

fn lines(plan: &SheetPlan) -> Vec<Line> {
    let full = boxes_a_line(plan);
    match is_one_box(plan) {
        true => {
            let units: Vec<Option<usize>> = (1..=plan.units).map(Some).collect();
            units
                .chunks(full)
                .map(|boxes| Line {
                    unit: None,
                    boxes: boxes.to_vec(),
                    lacking: full - boxes.len(),
                })
                .collect()
        }
        false => (1..=plan.units)
            .map(|unit| Line {
                unit: Some(unit),
                boxes: vec![None; full],
                lacking: 0,
            })
            .collect(),
    }
}
