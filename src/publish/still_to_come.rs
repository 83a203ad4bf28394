//! The sentence about how much of a week's reports had come in.

use super::shown_numbers::{Form, display_number};
use crate::rollup::arrivals::Arrived;
use crate::statistics::reporting_delay::{COMPLETE_WEEKS_LEAST, NotKnown};

/// In one sentence or two; shares alone, no number of visits.
pub fn still_to_come(arrived: &Arrived) -> String {
    let percent = |share: &f64| display_number(*share, Form::Percent);
    match arrived {
        Arrived::InFull => "The week began more than six weeks before the newest report, so little is still to come.".to_owned(),
        Arrived::InPart {
            share,
            low,
            high,
            complete_weeks,
        } => format!(
            "Going by the {complete_weeks} earlier weeks that are complete, about {}\u{a0}% of this week's visits are in \
             (80\u{a0}% range {} to {}\u{a0}%); the range is too narrow where reporting habits have just changed.",
            percent(share),
            percent(low),
            percent(high)
        ),
        Arrived::NotKnown(NotKnown::TooFewWeeks { complete }) => format!(
            "How much is still to come cannot be told: {complete} of the {COMPLETE_WEEKS_LEAST} complete earlier weeks that it \
             takes are in the store."
        ),
        Arrived::NotKnown(NotKnown::NothingArrived | NotKnown::TooYoung) => {
            "How much is still to come cannot be told: at this age no earlier week had a report.".to_owned()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_are_said_and_why_there_are_none() {
        let said = still_to_come(&Arrived::InPart {
            share: 0.812,
            low: 0.7,
            high: 0.9,
            complete_weeks: 9,
        });
        assert!(
            said.contains("9 earlier weeks") && said.contains("about 81\u{a0}%"),
            "{said}"
        );
        assert!(said.contains("range 70 to 90\u{a0}%"), "{said}");
        let few = Arrived::NotKnown(NotKnown::TooFewWeeks { complete: 2 });
        assert!(
            still_to_come(&few).contains("2 of the 6 complete"),
            "{}",
            still_to_come(&few)
        );
    }
}
