//! What is said where the seasons that are compared start their weeks on different days.

use std::collections::BTreeMap;

use crate::shared::shown_numbers::join_with_and;
use disclosure::public_row::PublicRow;
use scouting::visit::week::WeekStart;

/// In two sentences, which season starts its weeks on which day; `None` where all start them on one.
pub(crate) fn week_starts_in_words(rows: &[PublicRow]) -> Option<String> {
    let seasons: BTreeMap<i32, WeekStart> = rows
        .iter()
        .map(|row| (row.season, row.week_starts))
        .collect();
    let seasons: Vec<(i32, WeekStart)> = seasons.into_iter().collect();
    let same: Vec<&[(i32, WeekStart)]> = seasons.chunk_by(|one, next| one.1 == next.1).collect();
    if same.len() < 2 {
        return None;
    }
    let said: Vec<String> = same
        .iter()
        .map(|seasons| match seasons {
            [(season, start)] => format!("{start} in {season}"),
            [(first, start), .., (last, _)] => format!("{start} in {first} to {last}"),
            [] => String::new(),
        })
        .collect();
    Some(format!(
        "Weeks start on {}. So the same week of two seasons may begin up to three days apart.",
        join_with_and(&said)?
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use disclosure::invented::{fields, row_in};
    use disclosure::rule::Level;
    use scouting::visit::week::Weeks;

    #[test]
    fn seasons_with_other_weeks_are_named() {
        let row = |season: i32, start: &str| {
            let start = WeekStart::try_from(start.to_owned()).expect("a day");
            let row = row_in(&fields(&[0.5; 3]), Level::Survey, &Weeks::new(start, []));
            PublicRow { season, ..row }
        };
        let mut rows = vec![row(2024, "Monday"), row(2025, "Monday")];
        assert_eq!(week_starts_in_words(&rows), None);
        rows.push(row(2026, "Thursday"));
        let said = week_starts_in_words(&rows).expect("two kinds of week");
        assert!(
            said.starts_with("Weeks start on Monday in 2024 to 2025 and Thursday in 2026."),
            "{said}"
        );
    }
}
