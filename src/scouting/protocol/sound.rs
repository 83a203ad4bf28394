//! Reads a protocol from the text of its file and holds it to what its members promise each other: a stage
//! window on the scale, ordered bounds, counts that fit their form, a threshold that can be planned.
//!
//! A bad file is refused with its line and the reason. Which files there are is the catalog's to say.

use std::path::Path;

use super::damage::try_damage;
use super::kind::{Decision, ThresholdKind};
use super::plan_threshold::plan_threshold;
use super::planned::Planner;
use super::protocol_file::{PlausibleCount, Protocol};
use crate::failure::{Failure, Kind};
use crate::visit::record::CountForm;
use crate::visit::stage::StageScale;

/// The longest id, in characters.
const ID_LENGTH_MAX: usize = 60;

/// The longest threshold in short, in characters: a line of the list has room for no more.
const IN_SHORT_LENGTH_MAX: usize = 24;

/// What is wrong, and where it is in the file.
pub(super) struct Wrong {
    /// The table's heading, as `[sample]`; `""` at the top.
    table: &'static str,
    /// Which of the tables with this heading, from 0.
    number: usize,
    key: &'static str,
    reason: String,
}

pub(super) fn wrong(table: &'static str, key: &'static str, reason: impl Into<String>) -> Wrong {
    wrong_of(table, 0, key, reason)
}

fn wrong_of(
    table: &'static str,
    number: usize,
    key: &'static str,
    reason: impl Into<String>,
) -> Wrong {
    Wrong {
        table,
        number,
        key,
        reason: reason.into(),
    }
}

impl Protocol {
    /// Reads a protocol from the text of its file; the file's name is its id.
    ///
    /// # Errors
    /// A [`Failure`] with the line and the reason if the text is no sound protocol.
    pub fn read(text: &str, place: &Path, planner: Planner) -> Result<Protocol, Failure> {
        let mut protocol: Protocol = toml::from_str(text).map_err(|error| {
            let line = Failure::line_of(place, text, error.span().map_or(0, |span| span.start));
            unusable(format!("{line}: {}", error.message())).caused_by(error)
        })?;
        protocol.id = id_of(place)?;
        protocol.complete(planner).map_err(|wrong| {
            let line = Failure::line_of(place, text, byte_of(text, &wrong));
            let Wrong {
                table, key, reason, ..
            } = wrong;
            let between = if table.is_empty() { "" } else { " " };
            unusable(format!("{line}: {table}{between}{key}: {reason}"))
        })?;
        Ok(protocol)
    }

    /// Adds what follows from the members: the scale and the planned threshold.
    fn complete(&mut self, planner: Planner) -> Result<(), Wrong> {
        if let Some(stages) = &self.stages.scale {
            let scale = StageScale::listed(stages);
            self.scale = scale.map_err(|reason| wrong("[stages]", "scale", reason))?;
        }
        self.words()?;
        self.on_the_scale()?;
        self.counts()?;
        self.bounds()?;
        self.checked()?;
        let planned = plan_threshold(self, planner);
        self.planned = Some(planned.map_err(|reason| wrong("[threshold]", "expression", reason))?);
        if let Some(damage) = &self.damage {
            let refused = |(key, reason)| wrong("[damage]", key, reason);
            try_damage(damage, self, planner).map_err(refused)?;
        }
        Ok(())
    }

    /// What people read must be there, and sources most of all.
    fn words(&self) -> Result<(), Wrong> {
        let timing = &self.timing;
        let texts = [
            ("", "title", &self.title),
            ("", "pest", &self.pest),
            ("", "crop", &self.crop),
            ("", "counted", &self.counted),
            ("[sample]", "plan", &self.sample.plan),
            ("[sample]", "source", &self.sample.source),
            ("[stages]", "source", &self.stages.source),
            ("[threshold]", "in_short", &self.threshold.in_short),
            ("[threshold]", "formula", &self.threshold.formula),
            ("[threshold]", "source", &self.threshold.source),
            ("[timing]", "treat", &timing.treat),
            ("[timing]", "source", &timing.source),
        ];
        let once = texts.map(|(table, key, text)| (table, 0, key, text));
        let after = self.after_treatment.iter();
        let after = after.map(|after| ("[after_treatment]", 0, "source", &after.source));
        let treatment = self.treatment_stages.iter();
        let treatment = treatment.map(|stages| ("[treatment_stages]", 0, "source", &stages.source));
        let damage = self.damage.iter().flat_map(|damage| {
            let (formula, source) = (&damage.formula, &damage.source);
            [("formula", formula), ("source", source)].map(|(key, text)| ("[damage]", 0, key, text))
        });
        let cautions = self
            .cautions
            .iter()
            .enumerate()
            .flat_map(|(number, caution)| {
                let (text, source) = (&caution.text, &caution.source);
                [("text", text), ("source", source)]
                    .map(|(key, text)| ("[[caution]]", number, key, text))
            });
        let checks = self.checks.iter().enumerate();
        let checks = checks.map(|(number, check)| ("[[check]]", number, "source", &check.source));
        let bounds = self.plausible.count.iter();
        let bounds = bounds.map(|count| ("[plausible.count]", 0, "source", &count.source));
        let all = once
            .into_iter()
            .chain(treatment)
            .chain(damage)
            .chain(cautions);
        let mut all = all.chain(checks).chain(bounds).chain(after);
        if let Some((table, number, key, _)) = all.find(|(_, _, _, text)| text.trim().is_empty()) {
            let reason = "it is empty; where no source is known, say so";
            return Err(wrong_of(table, number, key, reason));
        }
        if self.threshold.in_short.chars().count() > IN_SHORT_LENGTH_MAX {
            let reason = format!("at most {IN_SHORT_LENGTH_MAX} characters are expected");
            return Err(wrong("[threshold]", "in_short", reason));
        }
        let types = &self.crop_types;
        let repeated = (1..types.len()).any(|place| types[..place].contains(&types[place]));
        if types.is_empty()
            || repeated
            || types.iter().any(|one| one.trim() != one || one.is_empty())
        {
            return Err(wrong(
                "",
                "crop_types",
                "different names are expected, one at least",
            ));
        }
        self.decides()
    }

    /// What a count decides, and what the file calls its level, must agree.
    fn decides(&self) -> Result<(), Wrong> {
        let of_region = self.threshold.kind == ThresholdKind::RegionalRiskClass;
        if of_region != (self.decision == Decision::Region) {
            let reason = "a regional risk class, and nothing else, has decision = \"region\"";
            return Err(wrong("[threshold]", "kind", reason));
        }
        let next_step = self.timing.next_step.as_deref().map(str::trim);
        if self.decision == Decision::Field {
            return match next_step {
                Some(_) => Err(wrong(
                    "[timing]",
                    "next_step",
                    "only a count that decides about no treatment has it",
                )),
                None => Ok(()),
            };
        }
        if self.cautions.is_empty() {
            let reason =
                "a figure that decides nothing for a field needs a [[caution]] that says so";
            return Err(wrong("", "decision", reason));
        }
        if next_step.is_none_or(str::is_empty) {
            let reason = "a count that decides about no treatment needs next_step: what to do next, as \"scout for larvae\"";
            return Err(wrong("[timing]", "next_step", reason));
        }
        if self.timing.treat_at.is_some() {
            let reason = "a count that decides about no treatment times none";
            return Err(wrong("[timing]", "treat_at", reason));
        }
        match self.treatment_stages {
            Some(_) => Err(wrong(
                "[treatment_stages]",
                "first",
                "a count that decides about no treatment times none",
            )),
            None => Ok(()),
        }
    }

    fn counts(&self) -> Result<(), Wrong> {
        let sample = &self.sample;
        let sizes = [
            ("units_per_site", Some(sample.units_per_site)),
            ("sites_min", Some(sample.sites_min)),
            ("counts_per_unit", sample.counts_per_unit),
            (
                "each_count_at_most",
                sample.each_count_at_most.map(|most| most as usize),
            ),
        ];
        if let Some((key, _)) = sizes.iter().find(|(_, size)| *size == Some(0)) {
            return Err(wrong("[sample]", key, "1 or more is expected"));
        }
        let mut least = (0.0, sample.sites_min);
        for step in &sample.sites_by_area {
            let (area, sites) = least;
            if !(step.from_ha.is_finite() && step.from_ha > area && step.sites > sites) {
                let reason =
                    "areas above 0 are expected, smallest first, each with more sites than before";
                return Err(wrong("[sample]", "sites_by_area", reason));
            }
            least = (step.from_ha, step.sites);
        }
        if sample.unit_totals && sample.counts_per_unit.is_none() {
            return Err(wrong(
                "[sample]",
                "unit_totals",
                "only heads with a fixed number of counts have a total of the same meaning",
            ));
        }
        if sample.counts_per_unit.is_some() && sample.form != CountForm::Heads {
            return Err(wrong(
                "[sample]",
                "counts_per_unit",
                "only heads have several counts",
            ));
        }
        if sample.each_count_at_most.is_some() && sample.form == CountForm::Traps {
            return Err(wrong(
                "[sample]",
                "each_count_at_most",
                "a trap's catch has no most",
            ));
        }
        if let Some(mistake) = sample.zones.mistake() {
            return Err(wrong("[sample]", "zones", mistake));
        }
        if !sample.catch_by_night && sample.form != CountForm::Traps {
            return Err(wrong(
                "[sample]",
                "catch_by_night",
                "only traps stand for nights",
            ));
        }
        Ok(())
    }

    fn bounds(&self) -> Result<(), Wrong> {
        let plausible = &self.plausible;
        let bounds = [
            ("treatment_cost_per_acre", plausible.treatment_cost_per_acre),
            ("market_value_per_lb", plausible.market_value_per_lb),
            ("plants_per_acre", plausible.plants_per_acre),
            ("area_ha", plausible.area_ha),
        ];
        let ordered = |[low, high]: [f64; 2]| 0.0 < low && low < high && high.is_finite();
        if let Some((key, _)) = bounds.iter().find(|(_, ends)| !ordered(*ends)) {
            return Err(wrong(
                "[plausible]",
                key,
                "[low, high] is expected, 0 < low < high",
            ));
        }
        let unordered = |count: &&PlausibleCount| {
            !(0.0 < count.strange
                && count.strange < count.impossible
                && count.impossible.is_finite())
        };
        if plausible.count.as_ref().filter(unordered).is_some() {
            return Err(wrong(
                "[plausible.count]",
                "strange",
                "0 < strange < impossible is expected",
            ));
        }
        let currency = plausible.currency.as_bytes();
        if currency.len() != 3 || !currency.iter().all(u8::is_ascii_uppercase) {
            return Err(wrong(
                "[plausible]",
                "currency",
                "three capital letters are expected, as USD",
            ));
        }
        Ok(())
    }

    fn checked(&self) -> Result<(), Wrong> {
        if self.checks.is_empty() {
            return Err(wrong(
                "",
                "check",
                "it has no [[check]]: a protocol carries worked values",
            ));
        }
        for (number, check) in self.checks.iter().enumerate() {
            let wrong = |key, reason| Err(wrong_of("[[check]]", number, key, reason));
            let sound = check.expect.is_finite() && check.expect > 0.0 && check.tolerance >= 0.0;
            if !sound {
                let reason = "a number above 0 is expected, and a tolerance of 0 or more";
                return wrong("expect", reason.to_owned());
            }
            let crop_type = check.given.crop_type.as_ref();
            if let Some(unknown) = crop_type.filter(|one| !self.crop_types.contains(one)) {
                let reason = format!("{unknown:?} is none of {}", self.crop_types.join(", "));
                return wrong("crop_type", reason);
            }
            let stage = check.given.crop_stage.as_ref();
            if let Some(off) = stage.filter(|stage| self.scale.read(stage).is_none()) {
                let reason = format!("{off:?} is not on the scale: {}", self.scale.in_words());
                return wrong("crop_stage", reason);
            }
        }
        Ok(())
    }
}

/// An id is used in records, file names and SQL: plain letters, digits and hyphens.
fn id_of(place: &Path) -> Result<String, Failure> {
    let name = place.file_stem().and_then(|name| name.to_str());
    let sound = name.filter(|name| {
        let plain = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
        (1..=ID_LENGTH_MAX).contains(&name.len()) && name.bytes().all(plain)
    });
    sound.map(str::to_owned).ok_or_else(|| {
        let reason = format!(
            "its name is the protocol's id: 1 to {ID_LENGTH_MAX} small letters, digits and hyphens, then .toml"
        );
        unusable(format!("{}: {reason}", place.display()))
    })
}

/// Where a key of a table is in the text; where its heading is, if the key is not found; or the beginning.
fn byte_of(text: &str, wrong: &Wrong) -> usize {
    let lines: Vec<(usize, &str)> = text.split('\n').scan(0, offsets).collect();
    let mut headings = (0..lines.len()).filter(|place| lines[*place].1 == wrong.table);
    let from = match wrong.table {
        "" => 0,
        _ => headings.nth(wrong.number).unwrap_or(0),
    };
    // A table of an array holds its own inner tables.
    let end = if wrong.table.starts_with("[[") {
        "[["
    } else {
        "["
    };
    let own = lines[from..].iter().enumerate();
    own.take_while(|(place, (_, line))| *place == 0 || !line.starts_with(end))
        .map(|(_, line)| line)
        .find(|(_, line)| {
            let rest = line.strip_prefix(wrong.key);
            rest.is_some_and(|rest| rest.trim_start().starts_with('='))
        })
        .map_or(lines[from].0, |(at, _)| *at)
}

/// A line with the byte at which it begins.
fn offsets<'a>(next: &mut usize, line: &'a str) -> Option<(usize, &'a str)> {
    let at = *next;
    *next += line.len() + 1;
    Some((at, line.trim_end()))
}

/// The failure of a file that cannot be used.
pub(super) fn unusable(place_and_reason: String) -> Failure {
    Failure::new(Kind::Protocol, "cannot use a protocol file")
        .at(place_and_reason)
        .mend("correct the file; pipeline/protocols/bsm-eggs.toml is a complete example")
}
