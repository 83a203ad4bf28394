//! What the tables of the region in a package may say: sums of public rows, computed here once more, by no query of ours.

use std::collections::{BTreeMap, BTreeSet};

use super::tables::Cells;
use disclosure::place::Place;
use disclosure::public_row::PublicRow;

/// The columns of each table that are compared: what names a row, and its sums.
const COMPARED: [(&str, &[&str]); 5] = [
    (
        "district_week",
        &[
            "district",
            "iso_week",
            "protocol",
            "fields_visited",
            "at_threshold_min",
            "at_threshold_max",
        ],
    ),
    (
        "region_week",
        &[
            "iso_week",
            "protocol",
            "fields_visited",
            "at_threshold_min",
            "at_threshold_max",
        ],
    ),
    (
        "region_median",
        &["iso_week", "protocol", "median_class", "counties"],
    ),
    (
        "region_stage",
        &["iso_week", "protocol", "crop_stage", "in_window", "fields"],
    ),
    ("sample_point", &["cell", "iso_week", "protocol"]),
];

/// The district of a place: that of the county, or the one that it is elsewhere in.
fn district_of<'a>(place: &'a Place, districts: &'a BTreeMap<String, String>) -> Option<&'a str> {
    match place {
        Place::County(id) => districts.get(id).map(String::as_str),
        Place::District(name) => Some(name),
        Place::Region => None,
    }
}

/// The rows that the tables may hold, each as its compared cells.
pub(crate) struct PublicSums(BTreeMap<&'static str, BTreeSet<Vec<String>>>);

impl PublicSums {
    /// What may be said of these rows.
    pub(crate) fn of(rows: &[PublicRow], districts: &BTreeMap<String, String>) -> PublicSums {
        let mut in_districts: BTreeMap<[&str; 3], [u32; 3]> = BTreeMap::new();
        let mut weeks: BTreeMap<[&str; 2], [u32; 3]> = BTreeMap::new();
        let mut classes: BTreeMap<([&str; 2], String), u32> = BTreeMap::new();
        let mut stages: BTreeMap<([&str; 2], &str, bool), u32> = BTreeMap::new();
        let mut cells = BTreeSet::new();
        for row in rows {
            let week = [&*row.iso_week, &*row.protocol];
            let [least, most] = row.at_threshold;
            let of_district = district_of(&row.place, districts).map(|district| {
                in_districts
                    .entry([district, week[0], week[1]])
                    .or_default()
            });
            for sums in of_district
                .into_iter()
                .chain([weeks.entry(week).or_default()])
            {
                for (sum, one) in sums.iter_mut().zip([row.fields_visited, least, most]) {
                    *sum += one;
                }
            }
            if let (Some(_), Some(class)) = (row.place.county(), row.median) {
                *classes.entry((week, class.word())).or_default() += 1;
            }
            for stage in &row.stages {
                let key = (week, &*stage.crop_stage, stage.in_window);
                *stages.entry(key).or_default() += stage.fields;
            }
            cells.extend(row.cells.iter().map(|cell| {
                let [iso_week, protocol] = week.map(str::to_owned);
                vec![cell.cell.clone(), iso_week, protocol]
            }));
        }
        let in_districts = in_districts.into_iter().map(|(place, sums)| {
            let place = place.map(str::to_owned).into_iter();
            place.chain(sums.map(|sum| sum.to_string())).collect()
        });
        let weeks = weeks.into_iter().map(|(week, sums)| {
            let week = week.map(str::to_owned).into_iter();
            week.chain(sums.map(|sum| sum.to_string())).collect()
        });
        let classes = classes.into_iter().map(|((week, class), counties)| {
            let week = week.map(str::to_owned).into_iter();
            week.chain([class, counties.to_string()]).collect()
        });
        let stages = stages
            .into_iter()
            .map(|((week, stage, in_window), fields)| {
                let week = week.map(str::to_owned).into_iter();
                let words = [stage.to_owned(), in_window.to_string(), fields.to_string()];
                week.chain(words).collect()
            });
        let sums = [
            in_districts.collect(),
            weeks.collect(),
            classes.collect(),
            stages.collect(),
            cells,
        ];
        let names = COMPARED.iter().map(|(name, _)| *name);
        PublicSums(names.zip(sums).collect())
    }

    /// Judges a row of a table; one of another table passes.
    pub(crate) fn judge(&self, table: &str, row: &Cells) -> Result<(), String> {
        let compared = COMPARED.iter().find(|(name, _)| *name == table);
        let Some((name, columns)) = compared else {
            return Ok(());
        };
        let cell = |column: &&str| {
            let value = row.get(*column).and_then(Option::as_deref);
            // A spreadsheet's apostrophe is in front of what would be a formula.
            value
                .unwrap_or_default()
                .trim_start_matches('\'')
                .to_owned()
        };
        let words: Vec<String> = columns.iter().map(cell).collect();
        match self.0[name].contains(&words) {
            true => Ok(()),
            false => Err(format!(
                "a row of {table}, {}, is no sum of public rows",
                words.join(" ")
            )),
        }
    }
}
