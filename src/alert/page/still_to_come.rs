//! The sentence about how much of a week's reports had come in.

use crate::figures::arrivals::Arrived;
use stats::nowcast::reporting_delay::{COMPLETE_WEEKS_LEAST, NotKnown};

/// From so many fields on a share is given: with 20 visits a week a closed week is seldom noticed, and the range then holds
/// in 64 to 71% of cases (`tests/benches/NOWCAST.md`). Our choice.
const FIELDS_LEAST: u32 = 40;

/// In a sentence or some, of the visits of shown counties alone: shares in steps of ten percent. `fields` are the fields
/// visited that the page shows.
pub(crate) fn still_to_come(arrived: &Arrived, fields: u32) -> String {
    let percent = |share: &f64| in_steps(*share);
    match arrived {
        Arrived::InFull => {
            "The week began more than six weeks before the newest report: reporting is essentially complete.".to_owned()
        }
        _ if fields < FIELDS_LEAST => {
            format!("With fewer than {FIELDS_LEAST} fields, we do not estimate how many reports are still to come.")
        }
        Arrived::InPart { low, .. } if percent(low) >= 100.0 => {
            "Judging by earlier complete weeks of the counties shown, nearly all of this week's reports are in.".to_owned()
        }
        Arrived::InPart {
            share,
            low,
            high,
            complete_weeks,
        } => format!(
            "Judging by {complete_weeks} earlier complete weeks of the counties shown, about {} of this week's reports are in \
             (80% range {} to {}%); the range is too narrow where reporting habits have just changed.",
            match percent(share) {
                50.0 => "half".to_owned(),
                percent => format!("{percent}%"),
            },
            percent(low),
            percent(high),
        ),
        Arrived::NotKnown(NotKnown::TooFewWeeks { complete }) => format!(
            "How much is still to come is not known: {COMPLETE_WEEKS_LEAST} complete earlier weeks of the counties shown are \
             needed, {complete} are on file."
        ),
        Arrived::NotKnown(NotKnown::Paused { .. }) => {
            "How much is still to come is not known: on some days since the week began no report came in, as on a holiday. The \
             figures may rest on fewer reports than usual at this point."
                .to_owned()
        }
        Arrived::NotKnown(NotKnown::NothingArrived | NotKnown::TooYoung) => {
            "How much is still to come is not known: at this age no earlier week had a report.".to_owned()
        }
    }
}

/// The same in a few words for the top of the page; `None` where it is not known, or little is still to come.
pub(crate) fn arrived_in_short(arrived: &Arrived, fields: u32) -> Option<String> {
    let Arrived::InPart { share, low, .. } = arrived else {
        return None;
    };
    let percent = in_steps(*share);
    if fields < FIELDS_LEAST || in_steps(*low) >= 100.0 {
        return None;
    }
    Some(match percent {
        50.0 => "About half of this week's reports are in.".to_owned(),
        percent => format!("About {percent}% of this week's reports are in."),
    })
}

/// A share in steps of ten percent, never none and never all: neither is known before the week is complete.
fn in_steps(share: f64) -> f64 {
    ((share * 10.0).round() * 10.0).clamp(10.0, 100.0)
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
        assert!(still_to_come(&arrived, 39).contains("fewer than 40"));
        let said = still_to_come(&arrived, 40);
        assert!(
            said.contains("about 80% of this week's reports are in"),
            "{said}"
        );
        assert!(said.contains("9 earlier complete weeks"), "{said}");
        assert!(said.contains("range 70 to 90%"), "{said}");
        // The same in a step: no single late visit changes the words.
        let other = Arrived::InPart {
            share: 0.79,
            low: 0.7,
            high: 0.9,
            complete_weeks: 9,
        };
        assert_eq!(said, still_to_come(&other, 40));
        let half = Arrived::InPart {
            share: 0.52,
            low: 0.4,
            high: 0.61,
            complete_weeks: 9,
        };
        let said = still_to_come(&half, 47);
        // Nothing is said of how many fields a page will show: counties come to be shown as reports come in.
        assert!(
            said.contains("about half of this week's reports are in (80% range 40 to 60%)"),
            "{said}"
        );
        assert!(!said.contains("47") && !said.contains("field"), "{said}");
        let short = arrived_in_short(&half, 47);
        let half_in = "About half of this week's reports are in.";
        assert_eq!(short.as_deref(), Some(half_in));
        assert_eq!(arrived_in_short(&half, 39), None);
        assert_eq!(arrived_in_short(&Arrived::InFull, 47), None);
        let paused = Arrived::NotKnown(NotKnown::Paused { days: 7 });
        let said = still_to_come(&paused, 50);
        assert!(
            said.contains("as on a holiday") && !said.contains('%'),
            "{said}"
        );
        let all = Arrived::InPart {
            share: 0.99,
            low: 0.96,
            high: 1.0,
            complete_weeks: 9,
        };
        let said = still_to_come(&all, 40);
        assert!(said.contains("nearly all") && !said.contains('%'), "{said}");
        let few = Arrived::NotKnown(NotKnown::TooFewWeeks { complete: 2 });
        assert!(still_to_come(&few, 50).contains("2 are on file"));
    }
}
