//! Crop stages of sunflower: VE, V1, V2 …, R1–R9, with R5.0–R5.9 for flowering.
//!
//! The scale is that of Schneiter, A.A. & Miller, J.F. 1981, Description of sunflower growth stages,
//! Crop Science 21(6):901–903 (citation from memory). A stage is text, never a number: V4 comes
//! before V12, and R5.1 is not 5.1.

use std::fmt;

/// The last vegetative stage that is believable: leaves of a tall hybrid.
const LEAVES_MAX: u16 = 60;
/// The first reproductive stage begins here on the common order of stages.
const REPRODUCTIVE: u16 = 1_000;

/// A crop stage.
///
/// It holds the first and last place that it covers on the common order, so that `R5` alone, which
/// does not say how far flowering is, covers R5.0 to R5.9.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stage {
    first: u16,
    last: u16,
}

impl Stage {
    /// Reads a stage as people write it: `R3`, `r5.1`, `R-5.1`, `R 5.1`, `VE`, `v12`.
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
        }
    }

    /// The stage that covers these places, as [`Stage::first_place`] and [`Stage::last_place`] give them.
    pub fn at_places(first: i32, last: i32) -> Stage {
        let place = |place: i32| u16::try_from(place).unwrap_or(u16::MAX);
        Stage {
            first: place(first),
            last: place(last),
        }
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
            first: place,
            last: place + 9,
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
            .map(Stage::first_place)
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
}
