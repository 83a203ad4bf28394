//! Crop stages: the scale of sunflower, and scales that a protocol of another crop lists itself.
//!
//! The scale of sunflower is VE, V1, V2 …, R1–R9, with R5.0–R5.9 for flowering: Schneiter, A.A. & Miller, J.F.
//! 1981, Description of sunflower growth stages, Crop Science 21(6):901–903 (citation from memory). A stage is
//! text, never a number: V4 comes before V12, and R5.1 is not 5.1.

use std::fmt;
use std::sync::{Mutex, PoisonError};

/// The last vegetative stage that is believable: leaves of a tall hybrid.
const LEAVES_MAX: u16 = 60;
/// The first reproductive stage begins here on the common order of stages.
const REPRODUCTIVE: u16 = 1_000;
/// The first stage of a listed scale is here, beyond every stage of sunflower, so that no stage of one crop
/// is taken for a stage of the other.
const LISTED: u16 = 10_000;
/// The most stages of a listed scale.
const LISTED_MAX: usize = 200;

/// The stages of a crop, in the order of growth.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum StageScale {
    /// That of sunflower.
    #[default]
    Sunflower,
    /// The stages that a protocol lists.
    Listed(&'static [String]),
}

impl StageScale {
    /// A scale of these stages, in the order of growth; what is wrong with them if they are none.
    pub fn listed(stages: &[String]) -> Result<StageScale, String> {
        if !(2..=LISTED_MAX).contains(&stages.len()) {
            return Err(format!("a scale has 2 to {LISTED_MAX} stages"));
        }
        for (place, stage) in stages.iter().enumerate() {
            if stage.trim() != stage || plain(stage).is_empty() {
                return Err(format!("{stage:?} is no name of a stage"));
            }
            if stages[..place].iter().any(|one| plain(one) == plain(stage)) {
                return Err(format!("the stage {stage} appears in it twice"));
            }
        }
        Ok(StageScale::Listed(kept(stages)))
    }

    /// Reads a stage as people write it; `None` if it is not on the scale.
    pub fn read(&self, text: &str) -> Option<Stage> {
        match self {
            StageScale::Sunflower => Stage::parse(text),
            StageScale::Listed(stages) => {
                let place = stages.iter().position(|one| plain(one) == plain(text))?;
                let place = LISTED + u16::try_from(place).ok()?;
                Some(Stage {
                    first: place,
                    last: place,
                    listed: Some(stages),
                })
            }
        }
    }

    /// Every stage of the scale, in the order of growth; `R5` alone is none of them.
    pub fn stages(&self) -> Vec<Stage> {
        match self {
            StageScale::Sunflower => (0..=LEAVES_MAX)
                .map(Stage::at)
                .chain((1..=9).flat_map(|stage| {
                    let place = REPRODUCTIVE + 10 * stage;
                    let tenths = if stage == 5 { 0..=9 } else { 0..=0 };
                    tenths.map(move |tenth| Stage::at(place + tenth))
                }))
                .collect(),
            StageScale::Listed(stages) => {
                stages.iter().filter_map(|name| self.read(name)).collect()
            }
        }
    }

    /// The scale in a few words, to say what was expected.
    pub fn in_words(&self) -> String {
        match self {
            StageScale::Sunflower => "VE, V1, V2 …, R1 to R9, or R5.0 to R5.9".to_owned(),
            StageScale::Listed(stages) => stages.join(", "),
        }
    }
}

/// A list that lives as long as the program, so that a stage can be copied as freely as a number. Each scale is
/// kept once, and scales are few: one a crop.
fn kept(stages: &[String]) -> &'static [String] {
    static SCALES: Mutex<Vec<&'static [String]>> = Mutex::new(Vec::new());
    let mut scales = SCALES.lock().unwrap_or_else(PoisonError::into_inner);
    match scales.iter().find(|scale| **scale == stages) {
        Some(scale) => scale,
        None => {
            let scale: &'static [String] = Vec::leak(stages.to_vec());
            scales.push(scale);
            scale
        }
    }
}

/// A listed stage as it is compared: `mid milk` and `Mid-Milk` are one.
fn plain(text: &str) -> String {
    let letters = text.chars().filter(|letter| !matches!(letter, ' ' | '-'));
    letters.flat_map(char::to_lowercase).collect()
}

/// A crop stage.
///
/// It holds the first and last place that it covers on the common order, so that `R5` alone, which
/// does not say how far flowering is, covers R5.0 to R5.9.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stage {
    first: u16,
    last: u16,
    /// The scale, if a protocol lists it.
    listed: Option<&'static [String]>,
}

impl Stage {
    /// Reads a stage of sunflower as people write it: `R3`, `r5.1`, `R-5.1`, `R 5.1`, `VE`, `v12`.
    pub fn parse(text: &str) -> Option<Stage> {
        let letter = text.chars().next()?.to_ascii_uppercase();
        let rest = text.get(1..)?;
        let rest = rest.strip_prefix(['-', ' ']).unwrap_or(rest);
        match letter {
            'V' if rest.eq_ignore_ascii_case("e") => Some(Stage::at(0)),
            'V' => Some(Stage::at(
                whole(rest).filter(|n| (1..=LEAVES_MAX).contains(n))?,
            )),
            'R' => reproductive(rest),
            _ => None,
        }
    }

    fn at(place: u16) -> Stage {
        Stage {
            first: place,
            last: place,
            listed: None,
        }
    }

    /// The stage of the same scale that covers these places, as [`Stage::first_place`] and
    /// [`Stage::last_place`] give them; `None` if they are on another scale.
    pub(crate) fn on_its_scale(self, first: i32, last: i32) -> Option<Stage> {
        let stage = Stage {
            first: u16::try_from(first).ok()?,
            last: u16::try_from(last).ok()?,
            listed: self.listed,
        };
        let on_it = match self.listed {
            None => stage.last < LISTED,
            Some(stages) => (LISTED..)
                .zip(stages.iter())
                .any(|(place, _)| place == stage.first),
        };
        on_it.then_some(stage)
    }

    /// First place that the stage covers on the common order of stages.
    pub fn first_place(self) -> i32 {
        i32::from(self.first)
    }

    /// Last place that the stage covers; differs from the first for `R5` alone.
    pub fn last_place(self) -> i32 {
        i32::from(self.last)
    }
}

/// `3` → R3; `5` → R5.0 to R5.9; `5.1` → R5.1.
fn reproductive(text: &str) -> Option<Stage> {
    let (stage, tenth) = match text.split_once('.') {
        Some((stage, tenth)) => (whole(stage)?, Some(whole(tenth)?)),
        None => (whole(text)?, None),
    };
    if !(1..=9).contains(&stage) {
        return None;
    }
    let place = REPRODUCTIVE + 10 * stage;
    match (stage, tenth) {
        (5, None) => Some(Stage {
            last: place + 9,
            ..Stage::at(place)
        }),
        (5, Some(tenth)) if tenth <= 9 => Some(Stage::at(place + tenth)),
        (_, None) => Some(Stage::at(place)),
        _ => None,
    }
}

/// One or two digits without sign or leading zero, but for `0` itself.
fn whole(text: &str) -> Option<u16> {
    let plain = (1..=2).contains(&text.len())
        && text.bytes().all(|byte| byte.is_ascii_digit())
        && (text == "0" || !text.starts_with('0'));
    plain.then(|| text.parse().ok()).flatten()
}

impl fmt::Display for Stage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(stages) = self.listed {
            let place = usize::from(self.first.saturating_sub(LISTED));
            return f.write_str(stages.get(place).map_or("", String::as_str));
        }
        match self.first {
            0 => f.write_str("VE"),
            leaves if leaves < REPRODUCTIVE => write!(f, "V{leaves}"),
            place => {
                let (stage, tenth) = ((place - REPRODUCTIVE) / 10, (place - REPRODUCTIVE) % 10);
                if stage == 5 && self.first == self.last {
                    write!(f, "R5.{tenth}")
                } else {
                    write!(f, "R{stage}")
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn canonical(text: &str) -> Option<String> {
        Stage::parse(text).map(|stage| stage.to_string())
    }

    #[test]
    fn a_stage_is_read_as_people_write_it() {
        for written in ["R5.1", "r5.1", "R-5.1", "R 5.1"] {
            assert_eq!(canonical(written).as_deref(), Some("R5.1"), "{written}");
        }
        for stage in ["VE", "V1", "V12", "R1", "R5", "R5.0", "R5.9", "R9"] {
            assert_eq!(canonical(stage).as_deref(), Some(stage));
        }
    }

    #[test]
    fn what_is_not_on_the_scale_is_refused() {
        for written in [
            "", "R", "R0", "R10", "R12", "R5.10", "R4.1", "V0", "V", "V99", "bloom", "5.1", "R05",
            "Rß", "é3",
        ] {
            assert_eq!(canonical(written), None, "{written}");
        }
    }

    #[test]
    fn stages_are_ordered_as_the_plant_grows() {
        let order = [
            "VE", "V4", "V12", "R1", "R2", "R3", "R4", "R5.0", "R5.1", "R5.9", "R6", "R9",
        ];
        let places: Vec<i32> = order
            .iter()
            .filter_map(|text| Stage::parse(text))
            .map(|stage| stage.first_place())
            .collect();
        assert_eq!(places.len(), order.len());
        assert!(
            places.is_sorted_by(|earlier, later| earlier < later),
            "{places:?}"
        );
    }

    #[test]
    fn r5_alone_covers_all_of_flowering() {
        let (flowering, early, done) = (
            Stage::parse("R5").unwrap(),
            Stage::parse("R5.1").unwrap(),
            Stage::parse("R6").unwrap(),
        );
        assert!(flowering.first_place() < early.first_place());
        assert!(flowering.last_place() > early.last_place());
        assert!(flowering.last_place() < done.first_place());
    }

    fn corn() -> StageScale {
        StageScale::listed(&["V1", "VT", "R1", "mid-milk"].map(str::to_owned)).unwrap()
    }

    #[test]
    fn a_listed_stage_is_read_as_people_write_it_and_keeps_its_own_name() {
        for (written, name) in [("vt", "VT"), ("R-1", "R1"), ("Mid milk", "mid-milk")] {
            let read = corn().read(written).map(|stage| stage.to_string());
            assert_eq!(read.as_deref(), Some(name), "{written}");
        }
        for written in ["R2", "R5.1", "", "milk"] {
            assert_eq!(corn().read(written), None, "{written}");
        }
    }

    #[test]
    fn every_stage_of_a_scale_is_read_back_in_its_order() {
        for scale in [StageScale::Sunflower, corn()] {
            let stages = scale.stages();
            for stage in &stages {
                assert_eq!(scale.read(&stage.to_string()).as_ref(), Some(stage));
            }
            assert!(stages.is_sorted_by(|earlier, later| earlier.last < later.first));
        }
        // VE, 60 leaves, R1-R9 with ten tenths of R5.
        assert_eq!(StageScale::Sunflower.stages().len(), 1 + 60 + 8 + 10);
    }

    #[test]
    fn a_stage_of_one_crop_is_never_beside_one_of_another() {
        let (corn, sunflower) = (corn().read("R1").unwrap(), Stage::parse("R1").unwrap());
        assert!(sunflower.last_place() < corn.first_place());
        assert_eq!(corn.on_its_scale(1010, 1010), None);
        assert_eq!(sunflower.on_its_scale(10_002, 10_002), None);
        assert_eq!(
            corn.on_its_scale(10_001, 10_001),
            StageScale::read(&self::corn(), "VT")
        );
        assert_eq!(corn.on_its_scale(10_099, 10_099), None);
    }

    #[test]
    fn a_scale_is_a_list_of_different_names() {
        for (stages, reason) in [
            (vec!["R1"], "2 to 200"),
            (vec!["R1", "r-1"], "twice"),
            (vec!["R1", ""], "no name"),
            (vec!["R1", " R2"], "no name"),
        ] {
            let stages: Vec<String> = stages.into_iter().map(str::to_owned).collect();
            let refused = StageScale::listed(&stages).unwrap_err();
            assert!(refused.contains(reason), "{refused}");
        }
    }
}
