//! The sentence about how much of a week's reports had come in.

use super::shown_numbers::{Form, display_number};
use crate::rollup::arrivals::Arrived;
use crate::statistics::reporting_delay::{COMPLETE_WEEKS_LEAST, NotKnown};

/// In a sentence or some; of the visits shares alone. `fields` are the fields visited that the page shows: what they
/// come to in the end is reckoned from this number and the shares as they are printed, so whoever has the page
/// could reckon it, and it tells nothing of what is not shown.
pub fn still_to_come(arrived: &Arrived, fields: i64) -> String {
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
             (80\u{a0}% range {} to {}\u{a0}%){}; the range is too narrow where reporting habits have just changed.",
            percent(share),
            percent(low),
            percent(high),
            in_the_end(fields, [*share, *low, *high])
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

/// How many fields those shown come to when all reports are in.
fn in_the_end(fields: i64, [share, low, high]: [f64; 3]) -> String {
    // As the reader has the shares: in whole per cent.
    let printed = |share: f64| (share * 100.0).round().clamp(1.0, 100.0) / 100.0;
    let expected = |share: f64| (fields as f64 / printed(share)).round();
    match fields {
        0 => String::new(),
        _ => format!(
            ", so the {fields} fields shown may become about {} ({} to {}) if late reports come from the same counties",
            expected(share),
            expected(high),
            expected(low)
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_are_said_and_why_there_are_none() {
        let arrived = Arrived::InPart {
            share: 0.812,
            low: 0.7,
            high: 0.9,
            complete_weeks: 9,
        };
        let nothing = still_to_come(&arrived, 0);
        assert!(!nothing.contains("may become"), "{nothing}");
        let said = still_to_come(&arrived, 81);
        // 81 / 0.81, 81 / 0.9 and 81 / 0.7.
        assert!(
            said.contains(
                "%), so the 81 fields shown may become about 100 (90 to 116) if late reports"
            ),
            "{said}"
        );
        assert!(
            said.contains("9 earlier weeks") && said.contains("about 81\u{a0}%"),
            "{said}"
        );
        assert!(said.contains("range 70 to 90\u{a0}%"), "{said}");
        let few = Arrived::NotKnown(NotKnown::TooFewWeeks { complete: 2 });
        assert!(
            still_to_come(&few, 5).contains("2 of the 6 complete"),
            "{}",
            still_to_come(&few, 5)
        );
    }
}
