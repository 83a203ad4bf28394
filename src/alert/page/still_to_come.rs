//! The sentence about how much of a week's reports had come in.

use crate::figures::arrivals::Arrived;
use stats::nowcast::reporting_delay::{COMPLETE_WEEKS_LEAST, NotKnown};

/// From so many fields on a share is given: one late visit of fewer would move it by more than half a
/// step of 10%. Our choice.
const FIELDS_LEAST: u32 = 20;

/// In a sentence or some, of the visits of shown counties alone: shares in steps of ten percent. `fields` are the fields
/// visited that the page shows.
pub(crate) fn still_to_come(arrived: &Arrived, fields: u32) -> String {
    // Steps of ten, never none and never all: neither is known before the week is complete.
    let percent = |share: &f64| ((share * 10.0).round() * 10.0).clamp(10.0, 100.0);
    match arrived {
        Arrived::InFull => {
            "The week began more than six weeks before the newest report: reporting is essentially complete.".to_owned()
        }
        _ if fields < FIELDS_LEAST => {
            format!("With fewer than {FIELDS_LEAST} fields, we do not estimate how many reports are still to come.")
        }
        Arrived::InPart {
            share,
            low,
            high,
            complete_weeks,
        } => format!(
            "Judging by {complete_weeks} earlier complete weeks of the counties shown, about {}% of this week's visits are in \
             (80% range {} to {}%); the range is too narrow where reporting habits have just changed.",
            percent(share),
            percent(low),
            percent(high),
        ),
        Arrived::NotKnown(NotKnown::TooFewWeeks { complete }) => format!(
            "How much is still to come is not known: {COMPLETE_WEEKS_LEAST} complete earlier weeks of the counties shown are \
             needed, {complete} are on file."
        ),
        Arrived::NotKnown(NotKnown::NothingArrived | NotKnown::TooYoung) => {
            "How much is still to come is not known: at this age no earlier week had a report.".to_owned()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_are_said_in_steps_of_ten_and_why_there_are_none() {
        let arrived = Arrived::InPart {
            share: 0.812,
            low: 0.66,
            high: 0.949,
            complete_weeks: 9,
        };
        assert!(still_to_come(&arrived, 19).contains("fewer than 20"));
        let said = still_to_come(&arrived, 20);
        assert!(said.contains("about 80% of this week's visits"), "{said}");
        assert!(said.contains("9 earlier complete weeks"), "{said}");
        assert!(said.contains("range 70 to 90%"), "{said}");
        // The same in a step: no single late visit changes the words.
        let other = Arrived::InPart {
            share: 0.79,
            low: 0.7,
            high: 0.9,
            complete_weeks: 9,
        };
        assert_eq!(said, still_to_come(&other, 20));
        let few = Arrived::NotKnown(NotKnown::TooFewWeeks { complete: 2 });
        assert!(still_to_come(&few, 50).contains("2 are on file"));
    }
}
