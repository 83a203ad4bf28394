//! Dates that are far from the day of submission: another year, a swapped day and month, a copied sheet.
//!
//! Days are those that the sender wrote, so that no time zone is guessed. Every bound is our own choice, with its
//! reason next to it.

use crate::visit::code::Code;
use crate::visit::finding::Finding;
use crate::visit::record::Visit;

/// A visit that is submitted after more days is flagged. Forms on paper come in up to six weeks late; a day and a month
/// that changed places are about a month apart or more.
pub const DAYS_TO_SUBMISSION_MAX: i64 = 45;
/// A visit of another year that is submitted after more days is of another season: a season across the new year is
/// handed in within four months.
pub const OTHER_SEASON_DAYS_MIN: i64 = 120;
/// Visits are no older: a year of two digits, or a date that was never filled in, reads as one before it.
pub const YEAR_MIN: i16 = 2000;

fn days_to_submission(visit: &Visit) -> i64 {
    let way = visit.submitted_at.day().duration_since(visit.observed_on);
    way.as_hours() / 24
}

/// The date is of another century.
pub(in crate::visit) fn date_too_old(visit: &Visit) -> Option<Finding> {
    (visit.observed_on.year() < YEAR_MIN).then(|| {
        Finding::new(
            Code::DateTooOld,
            "/observed_on",
            visit.observed_on.to_string(),
            format!("a year from {YEAR_MIN} on is expected: was the year written with two digits?"),
        )
    })
}

/// The date is of another season than the submission. Whoever loads old seasons names them.
pub fn other_season(visit: &Visit) -> Option<Finding> {
    let (observed, submitted) = (visit.observed_on, visit.submitted_at.day());
    let is_other = visit.retracted != Some(true)
        && observed.year() != submitted.year()
        && observed.year() >= YEAR_MIN
        && days_to_submission(visit) > OTHER_SEASON_DAYS_MIN;
    is_other.then(|| {
        Finding::new(
            Code::OtherSeason,
            "/observed_on",
            format!("{observed}, submitted on {submitted}"),
            format!(
                "a day of the season of the submission, {}, is expected (bractline.toml, [season] earlier = [{year}], or load --season {year}, takes visits of {year} on purpose)",
                submitted.year(),
                year = observed.year()
            ),
        )
    })
}

/// The visit was made long before it was submitted. A correction may take its time, and is not asked.
pub(in crate::visit) fn visit_long_before_submission(visit: &Visit) -> Option<Finding> {
    let days = days_to_submission(visit);
    let is_first = visit.revision == 1 && visit.retracted != Some(true);
    (is_first && days > DAYS_TO_SUBMISSION_MAX).then(|| {
        Finding::new(
            Code::VisitLongBeforeSubmission,
            "/observed_on",
            format!(
                "{}, {days} days before the submission on {}",
                visit.observed_on,
                visit.submitted_at.day()
            ),
            "is the date right? the month or the year may be another, or day and month may have changed places",
        )
    })
}
