//! The stages of the fields that this week's figures are of: a count means more at one stage than at another.

use crate::seasons::season_so_far::StageCount;

/// Stages and fields of the counts of a week, `R2 28, R3 50`; `None` where none is shown. Stages of too few fields are
/// combined, as everywhere.
pub(crate) fn stages_counted(stages: &[StageCount], iso_week: &str) -> Option<String> {
    let counted = stages
        .iter()
        .filter(|stage| stage.in_window && stage.iso_week == iso_week);
    let parts: Vec<String> = counted
        .map(|stage| format!("{} {}", stage.crop_stage, stage.fields))
        .collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_counts_of_the_week_are_named() {
        let stage = |iso_week: &str, crop_stage: &str, fields, in_window| StageCount {
            iso_week: iso_week.to_owned(),
            crop_stage: crop_stage.to_owned(),
            fields,
            in_window,
        };
        let stages = [
            stage("2026-W31", "R2", 9, true),
            stage("2026-W32", "R2", 28, true),
            stage("2026-W32", "R3", 50, true),
            stage("2026-W32", "R4", 28, false),
        ];
        let said = stages_counted(&stages, "2026-W32");
        assert_eq!(said.as_deref(), Some("R2 28, R3 50"));
        assert_eq!(stages_counted(&stages[3..], "2026-W32"), None);
    }
}
