//! The rows of a week, sorted by what can be said of them.

use std::collections::{HashMap, HashSet};

use crate::shared::count_words::CountWords;
use crate::shared::shown_names::{display_name, display_names};
use disclosure::public_row::PublicRow;
use scouting::region::Region;

/// The public rows of one week under one protocol.
pub(crate) struct Summary<'a> {
    /// Counties with fields in the stage window, by id.
    pub shown: Vec<Shown<'a>>,
    /// Rows of fields elsewhere in a district or the region that has fields in the stage window.
    pub elsewhere: Vec<Shown<'a>>,
    /// Counties whose fields are all at another crop stage.
    pub other_stage: usize,
    /// Names of the counties without a row, by id: not visited, or too few fields to publish.
    pub without_figures: Vec<String>,
    /// How texts name its places and its level.
    pub words: CountWords,
    names: HashMap<&'a str, String>,
}

/// A place with figures.
#[derive(Debug, Clone)]
pub(crate) struct Shown<'a> {
    /// Its name as shown.
    pub name: String,
    /// Its row.
    pub row: &'a PublicRow,
}

impl<'a> Summary<'a> {
    /// Sorts the rows of one week under one protocol, of places of the region.
    pub(crate) fn of(region: &'a Region, rows: &'a [PublicRow], words: CountWords) -> Summary<'a> {
        let names = display_names(region);
        let name_of = |row: &PublicRow| match row.place.county() {
            Some(id) => names.get(id).cloned().unwrap_or_else(|| display_name(id)),
            None => display_name(&row.place.in_words()),
        };
        let with_row: HashSet<&str> = rows.iter().filter_map(|row| row.place.county()).collect();
        let with_figures = rows.iter().filter(|row| row.fields_visited > 0);
        let (mut shown, mut elsewhere): (Vec<Shown>, Vec<Shown>) = with_figures
            .map(|row| Shown {
                name: name_of(row),
                row,
            })
            .partition(|shown| shown.row.place.county().is_some());
        for places in [&mut shown, &mut elsewhere] {
            places.sort_by(|one, other| one.row.place.cmp(&other.row.place));
        }
        let of_county = rows.iter().filter(|row| row.place.county().is_some());
        let counties = region.counties().iter();
        Summary {
            shown,
            elsewhere,
            other_stage: of_county.filter(|row| row.fields_visited == 0).count(),
            without_figures: counties
                .filter(|county| !with_row.contains(&*county.id))
                .map(|county| names[&*county.id].clone())
                .collect(),
            names,
            words,
        }
    }

    /// The name of a county as shown; its id if the region does not have it.
    pub(crate) fn name(&self, county_id: &str) -> String {
        let name = self.names.get(county_id).cloned();
        name.unwrap_or_else(|| display_name(county_id))
    }

    /// Counties with at least one field at threshold.
    pub(super) fn at_threshold(&self) -> usize {
        let counties = self.shown.iter();
        counties.filter(|c| c.row.at_threshold[0] > 0).count()
    }

    /// Fields of the counties, or of these and the rows elsewhere.
    pub(crate) fn fields(places: &[Shown]) -> u32 {
        places.iter().map(|place| place.row.fields_visited).sum()
    }

    /// Least and most fields at threshold.
    pub(super) fn fields_at_threshold(places: &[Shown]) -> [u32; 2] {
        let sum = |end: usize| places.iter().map(|place| place.row.at_threshold[end]).sum();
        [sum(0), sum(1)]
    }

    /// Whether nothing was found in any field of any county, as far as the rows say.
    pub(super) fn nothing_found(&self) -> bool {
        let nothing = |place: &Shown| place.row.median.is_some_and(|class| class.nothing_found);
        self.shown.iter().all(nothing)
    }

    /// The county with the highest class of the median, of several the one with the most fields at threshold; `None` if
    /// no county has anything to say of it.
    pub(crate) fn highest(&self) -> Option<&Shown<'a>> {
        let rank = |county: &Shown| {
            let class = county.row.median.filter(|class| !class.nothing_found);
            let low = county.row.share_interval().map_or(0.0, |[low, _]| low);
            (class.map_or(0.0, |class| class.middle()), low)
        };
        let found = self.shown.iter().filter(|county| {
            county.row.at_threshold[0] > 0
                || county.row.median.is_some_and(|class| !class.nothing_found)
        });
        found.reduce(|best, next| if rank(next) > rank(best) { next } else { best })
    }

    /// The county whose row has the fewest fields.
    pub(super) fn least_visited(&self) -> Option<&Shown<'a>> {
        let counties = self.shown.iter();
        counties.min_by_key(|county| county.row.fields_visited)
    }
}
