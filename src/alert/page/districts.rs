//! Lines of the whole region and of its districts: sums of the public rows of a week, and of nothing else.
//!
//! A thin survey still says something here, though no county has fields enough for a row of its own. The tables
//! `region_week` and `district_week` have the same sums.

use std::collections::BTreeMap;

use super::row_words::counts_in_words;
use super::summary::Summary;
use crate::alert::bulletin::Bulletin;
use crate::shared::count_words::CountWords;
use crate::shared::shown_names::display_name;
use crate::shared::shown_numbers::{Form, count_of, display_number};
use disclosure::place::Place;
use disclosure::public_row::PublicRow;
use stats::sampling::share_interval::wilson;

/// Public rows added up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Sum {
    /// Rows of counties.
    pub counties: usize,
    /// Rows of fields elsewhere in a district or the region.
    pub elsewhere: usize,
    /// Fields in the stage window.
    pub fields: u32,
    /// Least and most of them at threshold.
    pub at_threshold: [u32; 2],
}

impl Sum {
    /// That of these rows, which have no field in common.
    pub(crate) fn of<'a>(rows: impl IntoIterator<Item = &'a PublicRow>) -> Sum {
        let mut sum = Sum::default();
        for row in rows.into_iter().filter(|row| row.fields_visited > 0) {
            match row.place {
                Place::County(_) => sum.counties += 1,
                Place::District(_) | Place::Region => sum.elsewhere += 1,
            }
            sum.fields += row.fields_visited;
            for (end, of_row) in sum.at_threshold.iter_mut().zip(row.at_threshold) {
                *end += of_row;
            }
        }
        sum
    }

    /// `5 or more of 16 sampled fields at threshold (95% confidence interval 14–56%), in 2 counties and smaller groups
    /// combined`.
    pub(crate) fn in_words(&self, words: CountWords) -> String {
        let counts = counts_in_words(self.fields, self.at_threshold);
        let [least, most] = self.at_threshold;
        let ends = [
            wilson(least, self.fields).map(|ends| ends[0]),
            wilson(most, self.fields).map(|ends| ends[1]),
        ];
        let interval = match ends {
            [Some(low), Some(high)] => {
                let [low, high] = [low, high].map(|share| display_number(share, Form::Percent));
                format!(" (95% confidence interval {low}–{high}%)")
            }
            _ => String::new(),
        };
        let counties = (self.counties > 0).then(|| count_of(self.counties, "county", "counties"));
        let smaller = (self.elsewhere > 0).then(|| "smaller groups combined".to_owned());
        let places: Vec<String> = counties.into_iter().chain(smaller).collect();
        format!(
            "{counts} sampled {} {}{interval}, in {}",
            words.several(),
            words.at(),
            places.join(" and ")
        )
    }
}

/// A line of a district or of the region.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct AreaLine {
    /// Its name as shown.
    pub place: String,
    /// What its public rows come to.
    pub said: String,
}

/// The line of the whole region, and of each district that has fields in the stage window; none where a single row says
/// it all.
pub(crate) fn area_lines(bulletin: &Bulletin) -> Vec<AreaLine> {
    let words = bulletin.protocol.words();
    let region = Sum::of(bulletin.rows);
    if region.counties + region.elsewhere < 2 {
        return Vec::new();
    }
    let line = |place: String, sum: &Sum| AreaLine {
        place,
        said: sum.in_words(words),
    };
    let mut lines = vec![line(
        "Whole region, from the places shown".to_owned(),
        &region,
    )];
    let sums = district_sums(bulletin.rows, bulletin.region.districts());
    lines.extend(
        sums.iter()
            .map(|(district, sum)| line(display_name(district), sum)),
    );
    lines
}

/// The sum of each district that has fields in the stage window, by its name.
pub(crate) fn district_sums<'a>(
    rows: &'a [PublicRow],
    districts: &'a BTreeMap<String, String>,
) -> BTreeMap<&'a str, Sum> {
    let mut of_district: BTreeMap<&str, Vec<&PublicRow>> = BTreeMap::new();
    for row in rows.iter().filter(|row| row.fields_visited > 0) {
        let district = match &row.place {
            Place::County(id) => districts.get(id).map(String::as_str),
            Place::District(name) => Some(name.as_str()),
            Place::Region => None,
        };
        if let Some(district) = district {
            of_district.entry(district).or_default().push(row);
        }
    }
    let sums = of_district.into_iter();
    sums.map(|(district, rows)| (district, Sum::of(rows)))
        .collect()
}

/// The headline of a week in which no county has figures and several smaller groups have: what they come to.
pub(super) fn headline_of_groups(summary: &Summary) -> Option<String> {
    let sum = Sum::of(summary.elsewhere.iter().map(|place| place.row));
    if sum.elsewhere < 2 || sum.at_threshold[1] == 0 {
        return None;
    }
    let words = summary.words;
    let counts = counts_in_words(sum.fields, sum.at_threshold);
    Some(format!(
        "{counts} sampled {} {} in the region; too few in any one county to report alone",
        words.several(),
        words.at()
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alert::page::row_words::tests::row;

    fn elsewhere(district: &str, fields: u32, at_threshold: [u32; 2]) -> PublicRow {
        PublicRow {
            place: Place::District(district.to_owned()),
            ..row("001", fields, at_threshold)
        }
    }

    #[test]
    fn rows_add_up_by_district_and_a_region_has_all_of_them() {
        let rows = [
            row("001", 6, [4, 4]),
            row("002", 4, [1, 4]),
            row("003", 5, [0, 0]),
            elsewhere("north", 3, [0, 0]),
            PublicRow {
                place: Place::Region,
                ..row("001", 7, [6, 7])
            },
            row("001", 0, [0, 0]),
        ];
        let districts = [("001", "north"), ("002", "north"), ("003", "south")];
        let districts = districts.map(|(county, name)| (county.to_owned(), name.to_owned()));
        let districts = BTreeMap::from(districts);
        let sums: Vec<(&str, Sum)> = district_sums(&rows, &districts).into_iter().collect();
        let sum = |counties, elsewhere, fields, at_threshold| Sum {
            counties,
            elsewhere,
            fields,
            at_threshold,
        };
        assert_eq!(
            sums,
            [
                ("north", sum(2, 1, 13, [5, 8])),
                ("south", sum(1, 0, 5, [0, 0]))
            ]
        );
        assert_eq!(Sum::of(&rows), sum(3, 2, 25, [11, 15]));
    }

    #[test]
    fn a_sum_is_said_with_its_interval_and_where_it_is_from() {
        // Wilson's interval of 5 of 15 from below and of 8 of 15 from above, by the formula of Newcombe 1998 in another
        // program: 0.1518 and 0.7519.
        let said = |counties, elsewhere| {
            Sum {
                counties,
                elsewhere,
                fields: 15,
                at_threshold: [5, 8],
            }
            .in_words(CountWords::Threshold)
        };
        assert_eq!(
            said(2, 1),
            "5 to 8 of 15 sampled fields at threshold (95% confidence interval 15–75%), in 2 counties and smaller groups \
             combined"
        );
        assert!(said(0, 2).ends_with(", in smaller groups combined"));
        assert!(said(1, 0).ends_with(", in 1 county"));
    }

    #[test]
    fn several_small_groups_make_a_headline() {
        let region = scouting::region::Region::built_in("us:10").expect("counties");
        let rows = [elsewhere("north", 7, [6, 7]), elsewhere("south", 9, [4, 4])];
        let said = |rows: &[PublicRow]| {
            headline_of_groups(&Summary::of(&region, rows, CountWords::Threshold))
        };
        assert_eq!(
            said(&rows).as_deref(),
            Some(
                "10 to 11 of 16 sampled fields at threshold in the region; too few in any one county to report alone"
            )
        );
        assert_eq!(said(&rows[..1]), None, "one group has a name of its own");
        let none = [elsewhere("north", 7, [0, 0]), elsewhere("south", 9, [0, 0])];
        assert_eq!(said(&none), None);
    }
}
