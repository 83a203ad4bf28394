//! The doubts: what is strange about a visit that no rule refuses. One function a code.
//!
//! Each looks at the visit and at plain values of what was accepted before it; none finds the visit
//! wrong. A doubt is a [`Finding`] whose last part says what it may mean. It flags the visit, unless
//! the workspace holds visits with that doubt (`bractline.toml`, `[flags] hold`). Every bound is our
//! own choice, with its reason next to it. What was accepted before is kept by the history of `load`.

use jiff::civil::Date;

use crate::visit::code::Code;
use crate::visit::count::Count;
use crate::visit::finding::Finding;
use crate::visit::heads::Heads;
use crate::visit::record::Visit;
use crate::visit::rules::count_bounds::count_strange;
use crate::visit::rules::date_gaps::visit_long_before_submission;
use crate::visit::rules::id_rules::id_like_a_name;
use crate::visit::rules::limits::Limits;
use crate::visit::stage::Stage;

/// Every code, in the order in which the doubts are listed.
pub const CODES: [Code; 16] = [
    Code::FieldMoved,
    Code::FieldTwice,
    Code::EconomicsUnusual,
    Code::CountsAllEqual,
    Code::DigitPreference,
    Code::IdLikeAName,
    Code::ObserverInTwoPlaces,
    Code::StageBackwards,
    Code::VisitLongBeforeSubmission,
    Code::CountStrange,
    Code::SameVisitOtherId,
    Code::FieldOfAnotherSender,
    Code::FieldIdLookAlike,
    Code::DayMonthOrder,
    Code::AreaLikeAcres,
    Code::SupersedesRevision,
];

/// Doubts that hold a visit whatever the settings say: to accept it would put one field in the place of another.
pub const ALWAYS_HELD: [Code; 1] = [Code::FieldNumberedAlike];

/// Points of one field may be so far apart, meters. A side of a section is 1.6 km and points are
/// taken anywhere in a field, so its middle and its gate may differ by about this much.
pub(crate) const FIELD_APART_MAX_M: f64 = 1_000.0;
/// Points of two fields are at least so far apart, meters: a field of 1 ha is 100 m wide.
pub const FIELDS_APART_MIN_M: f64 = 50.0;
/// Points that a scout can reach on one day are at most so far apart, meters: five hours or more on the
/// road, which leaves no daylight to sample at both ends.
pub(crate) const DAY_APART_MAX_M: f64 = 400_000.0;
/// An amount differs if it is so many times the median, or the median so many times it.
pub(crate) const UNUSUAL_TIMES: f64 = 5.0;
/// A median of fewer visits says little about what is usual.
pub const MEDIAN_VISITS_MIN: u64 = 20;
/// Equal counts are no doubt below so many of them. If 1 is what a bract bears at the likeliest (Poisson,
/// mean 1: 0.368 of the bracts), ten ones in a row come by chance in one visit of 20,000.
pub(crate) const EQUAL_COUNTS_MIN: usize = 10;
/// Only counts that somebody may have rounded: people count small numbers at a glance.
const ROUNDED_COUNT_MIN: u32 = 10;
/// So many counts at a rounded number or next to one make a test worth while.
const ROUNDED_OR_BESIDE_MIN: u64 = 20;
/// The chance below which a preference is no chance.
pub(crate) const DIGIT_CHANCE_MAX: f64 = 1e-6;

/// Another place, with its distance from the visit's field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Elsewhere {
    /// Longitude, degrees.
    pub lon: f64,
    /// Latitude, degrees.
    pub lat: f64,
    /// Distance, meters.
    pub meters: f64,
}

/// What was usual among the visits of a season and crop type that were accepted before. Money is in the
/// visit's own currency; `None` where too few visits are known.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Usual {
    /// Median cost of one treatment, money per hectare.
    pub treatment_cost_per_ha: Option<f64>,
    /// Median market value, money per kilogram.
    pub market_value_per_kg: Option<f64>,
    /// Median plants per hectare.
    pub plants_per_ha: Option<f64>,
}

/// The crop stage of a field on a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StageSeen {
    /// The day.
    pub day: Date,
    /// First place of the stage on the common order of stages.
    pub first_place: i32,
    /// Last place of the stage.
    pub last_place: i32,
}

/// What the doubts ask of a visit's counts, gathered in one pass.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct CountTally {
    /// How many there are.
    counts: usize,
    first: u32,
    /// How many are not as the first.
    unlike_first: usize,
    /// How many are a multiple of 5, from 10.
    rounded: u64,
    /// How many are one below or above such a multiple.
    beside: u64,
}

impl CountTally {
    /// The tally of every count of a visit: per bract, per plant or per trap.
    pub(crate) fn of(visit: &Visit) -> CountTally {
        let mut tally = CountTally::default();
        for site in &visit.sites {
            tally.add(site.heads.as_ref().map_or(&[], Heads::counts));
            tally.add(site.plants.as_deref().unwrap_or_default());
            for trap in site.traps.iter().flatten() {
                tally.add(&[trap.catch]);
            }
        }
        tally
    }

    fn add(&mut self, counts: &[Count]) {
        if self.counts == 0 {
            self.first = counts.first().map_or(0, |count| count.0);
        }
        self.counts += counts.len();
        for Count(count) in counts {
            self.unlike_first += usize::from(*count != self.first);
            if *count >= ROUNDED_COUNT_MIN - 1 {
                match count % 5 {
                    0 => self.rounded += 1,
                    1 | 4 => self.beside += 1,
                    _ => {}
                }
            }
        }
    }
}

/// The codes of some doubts, each once, in the order of [`CODES`].
pub fn codes_of(doubts: &[Finding]) -> impl Iterator<Item = Code> {
    CODES
        .into_iter()
        .filter(|code| doubts.iter().any(|doubt| doubt.code == *code))
}

/// The doubts that a visit raises by itself, under the limits of its protocol.
pub fn of_the_visit_alone(visit: &Visit, limits: &Limits) -> Vec<Finding> {
    let tally = CountTally::of(visit);
    let doubts = [
        counts_all_equal(&tally),
        digit_preference(&tally),
        visit_long_before_submission(visit),
        count_strange(visit, limits),
    ];
    (doubts.into_iter().flatten())
        .chain(id_like_a_name(visit))
        .collect()
}

/// The field's point is far from where the same field was accepted before.
pub fn field_moved(visit: &Visit, before: Elsewhere) -> Option<Finding> {
    (before.meters > FIELD_APART_MAX_M).then(|| {
        Finding::new(
            Code::FieldMoved,
            "/field",
            format!(
                "{:.1} km from where {} was before, lon {}, lat {}",
                before.meters / 1_000.0,
                visit.field.field_id,
                before.lon,
                before.lat
            ),
            "a field stays where it is: is it another field, or is a point mistyped? fields that two senders number alike are kept apart by a prefix: bractline.toml, [senders.NAME] field_prefix",
        )
    })
}

/// Another field's point is close by.
pub fn field_twice(other_field_id: &str, other: Elsewhere) -> Option<Finding> {
    (other.meters < FIELDS_APART_MIN_M).then(|| {
        Finding::new(
            Code::FieldTwice,
            "/field/field_id",
            format!("{:.0} m from the field {other_field_id}", other.meters),
            "this may be one field under two names, which would count twice",
        )
    })
}

/// An amount that is far from what is usual this season for this crop type. What was assumed is not
/// compared.
pub fn economics_unusual(visit: &Visit, usual: &Usual) -> Vec<Finding> {
    let economics = &visit.economics;
    let crop_type = &visit.field.crop_type;
    let of_cost = economics.treatment_cost.as_ref().and_then(|cost| {
        unusual(
            "/economics/treatment_cost",
            cost.per_ha(),
            usual.treatment_cost_per_ha,
            || format!("{} {} per {}", cost.amount, cost.currency, cost.per.name()),
            crop_type,
        )
    });
    let of_value = economics.market_value.as_ref().and_then(|value| {
        let (amount, currency, per) = (value.amount, &value.currency, value.per.name());
        unusual(
            "/economics/market_value",
            value.per_kg(),
            usual.market_value_per_kg,
            || format!("{amount} {currency} per {per}"),
            crop_type,
        )
    });
    let of_plants = economics.plant_population.as_ref().and_then(|plants| {
        unusual(
            "/economics/plant_population",
            plants.per_ha(),
            usual.plants_per_ha,
            || format!("{} plants per {}", plants.count, plants.per.name()),
            crop_type,
        )
    });
    [of_cost, of_value, of_plants]
        .into_iter()
        .flatten()
        .collect()
}

/// `amount` and `median` are in the same canonical unit; `written` is the amount as its sender has it,
/// made only where it is reported.
fn unusual(
    pointer: &str,
    amount: f64,
    median: Option<f64>,
    written: impl FnOnce() -> String,
    crop_type: &str,
) -> Option<Finding> {
    let times = amount / median?;
    (times >= UNUSUAL_TIMES || times <= 1.0 / UNUSUAL_TIMES).then(|| {
        Finding::new(
            Code::EconomicsUnusual,
            pointer,
            format!(
                "{}, {times:.2} times the season's median for {crop_type}",
                written()
            ),
            "is it an unusual field, or an error in the amount or its unit?",
        )
    })
}

/// Every count is the same and not 0: copied downwards, or not counted. All 0 is what most visits of a
/// quiet week find, and no doubt.
pub(crate) fn counts_all_equal(tally: &CountTally) -> Option<Finding> {
    let CountTally { counts, first, .. } = *tally;
    (tally.unlike_first == 0 && first > 0 && counts >= EQUAL_COUNTS_MIN).then(|| {
        Finding::new(
            Code::CountsAllEqual,
            "/sites",
            format!("{counts} counts, each {first}"),
            "counts vary from one to the next: was one of them filled in for all?",
        )
    })
}

/// Counts end in 0 or 5 far more often than next to those numbers: rounded or guessed, not counted.
///
/// Of the counts of 9 and more, those at a multiple of 5 are set against those one below or above one.
/// Where the distribution is about straight over three neighboring numbers, a third of them is at
/// the multiple, however the counts are spread: last digits as such need not be alike where counts
/// hardly reach 20. The one-sided exact binomial test (Conover, W.J., Practical Nonparametric
/// Statistics, chapter 3; from memory) gives the chance of so many or more.
pub(crate) fn digit_preference(tally: &CountTally) -> Option<Finding> {
    let CountTally {
        rounded, beside, ..
    } = *tally;
    let trials = rounded + beside;
    (trials >= ROUNDED_OR_BESIDE_MIN
        && chance_of_at_least(rounded, trials, 1.0 / 3.0) < DIGIT_CHANCE_MAX)
        .then(|| {
            Finding::new(
                Code::DigitPreference,
                "/sites",
                format!("{rounded} counts at a multiple of 5 and only {beside} one off it"),
                "no chance gives that: the counts may be rounded or guessed",
            )
        })
}

/// Chance of `successes` or more in `trials` of probability `each`: the upper tail of the binomial,
/// summed term by term from the top in logarithms, since single terms may be below 1e-300.
fn chance_of_at_least(successes: u64, trials: u64, each: f64) -> f64 {
    let odds = (each / (1.0 - each)).ln();
    // The logarithm of the chance of no success, then of one more each time.
    let mut term = trials as f64 * (1.0 - each).ln();
    let mut chance = 0.0;
    for count in 0..=trials {
        if count >= successes {
            chance += term.exp();
        }
        let (left, next) = ((trials - count) as f64, (count + 1) as f64);
        term += (left / next).ln() + odds;
    }
    chance
}

/// The same scout was far away on the same day.
pub fn observer_in_two_places(visit: &Visit, same_day: Elsewhere) -> Option<Finding> {
    (same_day.meters > DAY_APART_MAX_M).then(|| {
        Finding::new(
            Code::ObserverInTwoPlaces,
            "/observer_id",
            format!(
                "{} was {:.0} km away on the same day, lon {}, lat {}",
                visit.observer_id,
                same_day.meters / 1_000.0,
                same_day.lon,
                same_day.lat
            ),
            "both cannot be on one day: is a date, a point or the scout's id mistyped?",
        )
    })
}

/// Another visit of the same field, day, scout and protocol that was accepted before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SameVisit<'a> {
    /// Its id.
    pub visit_id: &'a str,
    /// All that was counted in it.
    pub total: u64,
    /// First and last place of its crop stage.
    pub stage: (i32, i32),
}

/// The same field, day, scout and protocol came before under another id: sent by two programs, or made by a mapping
/// whose prefix was changed. The later one then counts for the week, so neither must pass unseen.
pub fn same_visit_other_id(
    visit: &Visit,
    (total, stage): (u64, Stage),
    other: SameVisit<'_>,
) -> Finding {
    let mut differs = Vec::new();
    if total != other.total {
        differs.push(format!(
            "counts differ, {} in all there and {total} here",
            other.total
        ));
    }
    if let Some(there) = stage.on_its_scale(other.stage.0, other.stage.1)
        && there != stage
    {
        differs.push(format!(
            "the crop stage differs, {there} there and {stage} here"
        ));
    }
    let differs = match differs.is_empty() {
        true => format!("both count {total} in all"),
        false => differs.join(", "),
    };
    Finding::new(
        Code::SameVisitOtherId,
        "/visit_id",
        format!(
            "{}, where {} has the same field, day, scout and protocol; {differs}",
            visit.visit_id, other.visit_id
        ),
        "is it one visit under two ids? if both are real, nothing needs to be done; if one replaces the other, retract that one",
    )
}

/// A crop does not grow backwards: an earlier stage on a later day, or a later stage on an earlier day.
/// Stages that overlap, as R5 and R5.3, agree; those of different scales are not compared.
pub fn stage_backwards(
    visit: &Visit,
    day: Date,
    stage: Stage,
    latest: StageSeen,
) -> Option<Finding> {
    let before = stage.on_its_scale(latest.first_place, latest.last_place)?;
    let backwards = if day > latest.day {
        stage.last_place() < latest.first_place
    } else {
        day < latest.day && stage.first_place() > latest.last_place
    };
    backwards.then(|| {
        Finding::new(
            Code::StageBackwards,
            "/crop_stage",
            format!(
                "{stage}, where {} was at {before} on {}",
                visit.field.field_id, latest.day
            ),
            "a crop does not grow backwards: is a stage, a date or the field's id mistyped?",
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tally(values: impl IntoIterator<Item = u32>) -> CountTally {
        let counts: Vec<Count> = values.into_iter().map(Count).collect();
        let mut tally = CountTally::default();
        tally.add(&counts);
        tally
    }

    /// Each is a fraction that can be counted by hand.
    #[test]
    fn the_tail_of_the_binomial_is_right() {
        for (successes, trials, each, expected) in [
            (0, 10, 0.5, 1.0),
            (10, 10, 0.5, 1.0 / 1024.0),
            (2, 3, 1.0 / 3.0, 7.0 / 27.0),
            (13, 13, 1.0 / 3.0, 1.0 / 1_594_323.0),
        ] {
            let chance = chance_of_at_least(successes, trials, each);
            assert!(
                (chance / expected - 1.0).abs() < 1e-12,
                "{chance} {expected}"
            );
        }
    }

    #[test]
    fn rounded_counts_are_doubted() {
        let rounded = tally((0..40).map(|place| 10 + 5 * (place % 7)));
        assert!(digit_preference(&rounded).is_some());
        // Half of the counts rounded, half as they come.
        let half = (0..100_u32).map(|place| match place % 2 {
            0 => 10 + 5 * (place % 6),
            _ => 9 + place % 30,
        });
        assert!(digit_preference(&tally(half)).is_some());
        // Small numbers are not rounded, and a few may be there by chance.
        assert_eq!(digit_preference(&tally(vec![5; 100])), None);
        assert_eq!(digit_preference(&tally(vec![10; 19])), None);
    }

    /// Two thousand counts spread as the Poisson distribution has it, hardly reaching 10 or far above.
    #[test]
    fn counts_as_chance_gives_them_are_not_doubted() {
        for mean in 3..=100 {
            let mean = f64::from(mean);
            let mut chance = (-mean).exp();
            let mut counts = Vec::new();
            for count in 0..400_u32 {
                let times = (2_000.0 * chance).round() as usize;
                counts.extend(std::iter::repeat_n(count, times));
                chance *= mean / f64::from(count + 1);
            }
            assert!(counts.len() > 1_900);
            assert_eq!(digit_preference(&tally(counts)), None, "mean {mean}");
        }
    }

    #[test]
    fn all_equal_is_a_doubt_and_all_nothing_is_none() {
        assert!(counts_all_equal(&tally(vec![1; 12])).is_some());
        assert_eq!(counts_all_equal(&tally(vec![0; 120])), None);
        assert_eq!(
            counts_all_equal(&tally(vec![3; EQUAL_COUNTS_MIN - 1])),
            None
        );
        assert_eq!(
            counts_all_equal(&tally((0..12).map(|place| u32::from(place != 5)))),
            None
        );
        assert_eq!(counts_all_equal(&tally([])), None);
    }
}
