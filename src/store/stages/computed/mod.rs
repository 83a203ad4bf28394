//! The steps in Rust between the stages: tables of what no stock SQL function gives.
//!
//! A step runs after the stage whose header names its table (`computed:`), takes the rows of that stage, and gives them
//! with the columns that the header lists. The stages after it read the table by its name.

pub(crate) mod certainty;
pub(crate) mod clustering;
pub(crate) mod seasons;
pub(crate) mod smoothing;
pub(crate) mod standing_figure;
pub mod unit_totals;
pub mod windows;

use crate::stages::computed::seasons::Seasons;
use crate::stages::computed::standing_figure::standing_figure;
use crate::stages::engine::{Engine, Parts};
use crate::stages::files::Stage;
use crate::stages::inputs::{Setting, protocols_known, thresholds};
use crate::stages::stage_rows::{broken, conforming, schema_of_parts};
use scouting::failure::Failure;
use scouting::protocol::catalogue::Catalogue;

/// A step between two stages.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// The threshold of each visit, by the expression of its protocol.
    VisitThreshold,
    /// How certain each figure is, and when its field is due for treatment.
    StandingFigure,
}

impl Step {
    /// Every step.
    pub const ALL: [Step; 2] = [Step::VisitThreshold, Step::StandingFigure];

    /// The table that it makes.
    pub fn table(self) -> &'static str {
        match self {
            Step::VisitThreshold => "visit_threshold",
            Step::StandingFigure => "standing_figure",
        }
    }

    /// The file that says how its columns are computed.
    pub fn file(self) -> &'static str {
        match self {
            Step::VisitThreshold => "threshold.rs",
            Step::StandingFigure => "standing_figure.rs",
        }
    }

    /// The step that a stage's header names.
    fn after(stage: &Stage) -> Result<Option<Step>, Failure> {
        let Some(computed) = &stage.computed else {
            return Ok(None);
        };
        let mut all = Step::ALL.into_iter();
        match all.find(|step| step.table() == computed.table) {
            Some(step) if step.file() == computed.file => Ok(Some(step)),
            Some(step) => Err(broken(
                stage,
                &format!("{} is computed by {}", computed.table, step.file()),
            )),
            None => Err(broken(
                stage,
                &format!("nothing computes {}", computed.table),
            )),
        }
    }

    async fn made(
        self,
        engine: Engine<'_>,
        rows: Parts,
        catalogue: &Catalogue,
        setting: &Setting,
        seasons: Option<&Seasons>,
    ) -> Result<Made, Failure> {
        match self {
            Step::VisitThreshold => {
                protocols_known(engine.session(), catalogue).await?;
                let (parts, visits_without_threshold) = thresholds(engine, catalogue).await?;
                Ok(Made {
                    parts,
                    visits_without_threshold,
                })
            }
            Step::StandingFigure => Ok(Made {
                parts: standing_figure(rows, catalogue, setting, seasons)?,
                visits_without_threshold: 0,
            }),
        }
    }
}

struct Made {
    parts: Parts,
    visits_without_threshold: u64,
}

/// Holds that every table that a header calls computed has a step, and that every step has its stage.
///
/// # Errors
/// A [`Failure`] that names the stage, or the step that no stage names.
pub(crate) fn hold_to_steps(stages: &[Stage]) -> Result<(), Failure> {
    let mut steps = Vec::new();
    for stage in stages {
        steps.extend(Step::after(stage)?);
    }
    for step in Step::ALL {
        let named = steps.iter().filter(|named| **named == step).count();
        if named != 1 {
            let last = stages.last().expect("there are stages in the program");
            let reason = format!("{named} stages of its pipeline compute {}", step.table());
            return Err(broken(last, &reason));
        }
    }
    Ok(())
}

/// Runs the step that follows a stage, if its header names one, and keeps the table; how many visits have no threshold.
/// `seasons` is what is known of them, where the rows are not those of all weeks.
///
/// # Errors
/// A [`Failure`] if the step fails, or its columns are not those of the header.
pub(crate) async fn compute_after(
    engine: Engine<'_>,
    stage: &Stage,
    rows: Parts,
    catalogue: &Catalogue,
    setting: &Setting,
    seasons: Option<&Seasons>,
) -> Result<u64, Failure> {
    let (Some(step), Some(promised)) = (Step::after(stage)?, stage.with_computed()) else {
        return Ok(0);
    };
    let made = step.made(engine, rows, catalogue, setting, seasons).await?;
    let parts = made.parts.iter().map(|batches| {
        let batches = batches.iter().map(|batch| conforming(&promised, batch));
        batches.collect::<Result<Vec<_>, _>>()
    });
    let parts: Parts = parts.collect::<Result<_, _>>()?;
    engine
        .keep(step.table(), schema_of_parts(&parts), parts)
        .await?;
    Ok(made.visits_without_threshold)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stages::files::stages;

    #[test]
    fn each_step_has_one_stage_and_each_name_a_step() {
        let all = stages().unwrap();
        hold_to_steps(&all).unwrap();
        let without = |table: &str| -> Vec<Stage> {
            let others = all.iter().filter(|stage| stage.table != table);
            others.cloned().collect()
        };
        let refused = hold_to_steps(&without("standing_visit")).unwrap_err();
        assert!(refused.to_string().contains("standing_figure"), "{refused}");
        let mut twice = all.clone();
        twice.extend(all.iter().find(|stage| stage.computed.is_some()).cloned());
        assert!(hold_to_steps(&twice).is_err());
        for (table, file) in [
            ("standing_figures", "standing_figure.rs"),
            ("standing_figure", "windows.rs"),
        ] {
            let mut other = all.clone();
            let mut computed = other.iter_mut().filter_map(|stage| stage.computed.as_mut());
            let computed = computed.find(|one| one.table == "standing_figure").unwrap();
            computed.table = table.to_owned();
            computed.file = file.to_owned();
            let refused = hold_to_steps(&other).unwrap_err().to_string();
            assert!(refused.contains("30_standing_visit.sql"), "{refused}");
        }
    }
}
