//! The windows of a protocol on its crop's scale of stages, and what is refused of them.

use super::protocol_file::Protocol;
use super::sound::{Wrong, wrong};
use super::windows::CountTiming;

impl Protocol {
    /// First and last place of the stage window on the common order of stages.
    pub fn window(&self) -> Option<(i32, i32)> {
        let first = self.scale.read(&self.stages.first)?;
        let last = self.scale.read(&self.stages.last)?;
        Some((first.first_place(), last.last_place()))
    }

    /// Where its counts are early or late.
    pub fn count_timing(&self) -> CountTiming {
        let place = |stage: &String| self.scale.read(stage);
        let recount = self.stages.recount_at.as_ref().and_then(place);
        let treated = self.treatment_stages.as_ref();
        CountTiming {
            window: self.window().unwrap_or_default(),
            recount_from: recount.map(|stage| stage.first_place()),
            treated_until: treated
                .and_then(|stages| place(&stages.last))
                .map(|stage| stage.last_place()),
        }
    }

    /// Refuses stages that are not on the scale, or windows that do not fit together.
    pub(super) fn on_the_scale(&self) -> Result<(), Wrong> {
        let scale = &self.scale;
        let off = |text: &str| format!("{text:?} is not on the scale: {}", scale.in_words());
        let stages = &self.stages;
        for (key, stage) in [("first", &stages.first), ("last", &stages.last)] {
            if scale.read(stage).is_none() {
                return Err(wrong("[stages]", key, off(stage)));
            }
        }
        if self.window().is_none_or(|(first, last)| first > last) {
            let reason = format!("{} comes after {}", stages.first, stages.last);
            return Err(wrong("[stages]", "first", reason));
        }
        if let Some(recount) = &stages.recount_at {
            let within = scale.read(recount).zip(self.window());
            let within = within.is_some_and(|(stage, (first, last))| {
                first < stage.first_place() && stage.last_place() <= last
            });
            if !within {
                let reason = format!(
                    "{recount:?} is no stage of the window after {}, {} at the latest",
                    stages.first, stages.last
                );
                return Err(wrong("[stages]", "recount_at", reason));
            }
        }
        let treat_at = self.timing.treat_at.as_ref();
        if let Some(stage) = treat_at.filter(|stage| scale.read(stage).is_none()) {
            return Err(wrong("[timing]", "treat_at", off(stage)));
        }
        self.treatment_on_the_scale()?;
        let development = self.development.as_ref();
        let of_stages =
            development.is_some_and(|one| one.crop.is_some() || one.without_weather.is_some());
        if of_stages && self.stages.scale.is_some() {
            let reason =
                "heat and days to a crop's stages are known on the scale of sunflower alone";
            return Err(wrong("[development.crop]", "stages", reason));
        }
        Ok(())
    }

    fn treatment_on_the_scale(&self) -> Result<(), Wrong> {
        const TABLE: &str = "[treatment_stages]";
        let Some(stages) = &self.treatment_stages else {
            return Ok(());
        };
        let scale = &self.scale;
        let read = |key, text: &String| {
            let off = || format!("{text:?} is not on the scale: {}", scale.in_words());
            scale.read(text).ok_or_else(|| wrong(TABLE, key, off()))
        };
        let (first, last) = (read("first", &stages.first)?, read("last", &stages.last)?);
        if first.first_place() > last.last_place() {
            let reason = format!("{} comes after {}", stages.first, stages.last);
            return Err(wrong(TABLE, "first", reason));
        }
        let treat_at = self.timing.treat_at.as_ref();
        let outside = treat_at
            .and_then(|text| scale.read(text))
            .is_some_and(|stage| {
                stage.first_place() < first.first_place() || stage.last_place() > last.last_place()
            });
        match outside {
            true => Err(wrong(
                "[timing]",
                "treat_at",
                "it is not among [treatment_stages]",
            )),
            false => Ok(()),
        }
    }
}
