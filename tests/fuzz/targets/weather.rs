//! Weather files: every temperature is one that air can have, and nothing is filled in but short gaps.

use std::collections::BTreeSet;

use scouting::phenology::degree_days::AIR_C;
use scouting::phenology::weather::{FILLED_MAX, read_weather};

use super::desk::{on_the_disk, reported};

/// Looks at one weather file.
pub fn look(bytes: &[u8]) {
    let Some(stations) = on_the_disk(bytes, |path| reported(read_weather(path, &[], None))) else {
        return;
    };
    assert!(!stations.is_empty(), "a file without a station");
    let names: BTreeSet<&str> = stations.iter().map(|series| &*series.station).collect();
    assert_eq!(names.len(), stations.len(), "a station twice");
    for series in &stations {
        assert!(!series.days.is_empty(), "a station without a day");
        for (date, day) in &series.days {
            let [lowest, highest] = AIR_C;
            assert!(
                lowest <= day.min_c() && day.max_c() <= highest,
                "{date}: {day:?}"
            );
            assert!(day.min_c() <= day.max_c(), "{date}: {day:?}");
        }
        // Dates ascend, and between the first and the last each is known, or said to be missing.
        let first = *series.days.keys().next().expect("a day");
        let last = *series.days.keys().next_back().expect("a day");
        let missing: BTreeSet<_> = series.missing.iter().copied().collect();
        let filled: BTreeSet<_> = series.filled.iter().copied().collect();
        assert!(missing.iter().all(|date| !series.days.contains_key(date)));
        let mut filled_in_a_row = 0;
        let mut days = 0;
        for date in first
            .series(jiff::Span::new().days(1))
            .take_while(|date| *date <= last)
        {
            days += 1;
            assert!(
                series.days.contains_key(&date) || missing.contains(&date),
                "{date} is neither known nor missing"
            );
            filled_in_a_row = match filled.contains(&date) {
                true => filled_in_a_row + 1,
                false => 0,
            };
            assert!(filled_in_a_row <= FILLED_MAX, "filled up to {date}");
        }
        assert_eq!(days, series.days.len() + missing.len());
        assert!(filled.iter().all(|date| series.days.contains_key(date)));
    }
}
