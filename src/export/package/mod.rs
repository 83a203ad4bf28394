//! A package for researchers: the tables of one store version at a chosen level of confidentiality, with all
//! that somebody needs who has nothing else.
//!
//! What may be in it was decided before: of public rows in `disclosure`, of single visits in `export/grid_rows.rs`. Reads
//! no clock and knows no path, so that the same store version, public rows and choices give the same bytes.

mod archive;
mod citation;
pub(crate) mod contents;
mod darwin_core;
mod darwin_measures;
mod data_package;
mod dictionary;
mod eml;
mod limits;
pub(super) mod protocol_table;
mod readme;
mod table;
mod taxa;
mod terms;

use jiff::Timestamp;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use self::table::ExportTable;
use disclosure::rule::Rule;
use scouting::failure::{Cause, Failure, Kind};
use scouting::protocol::catalogue::Protocol;
use scouting::region::Region;

/// How much of a field a package shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Level {
    /// Nothing: the public tables.
    Public,
    /// What was found in visits and fields, rounded, without what leads back to a field; private.
    Grid,
    /// Everything; private.
    Full,
}

impl Level {
    /// Its name.
    pub fn word(self) -> &'static str {
        match self {
            Level::Public => "public",
            Level::Grid => "grid",
            Level::Full => "full",
        }
    }

    /// Whether it has rows of single fields, so that whoever gets it must agree to terms.
    pub fn is_private(self) -> bool {
        self != Level::Public
    }
}

/// The licence of the data, as the settings state it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Licence {
    /// Its identifier.
    pub name: String,
    /// Where its text is; empty if that is not stated.
    pub url: String,
}

impl Licence {
    /// In words.
    fn in_words(&self) -> String {
        match self.url.is_empty() {
            true => self.name.clone(),
            false => format!("{} <{}>", self.name, self.url),
        }
    }

    fn in_package(&self) -> Value {
        match self.url.is_empty() {
            true => json!({ "name": self.name }),
            false => json!({ "name": self.name, "path": self.url }),
        }
    }
}

/// What is left out of single rows, at the level of the grid.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HeldBack {
    /// Field-weeks that are there.
    pub field_weeks: usize,
    /// Of these, those that show their county alone.
    pub by_county_alone: usize,
    /// Field-weeks outside the stage window, of counties that are shown, that are not there.
    pub outside_window: usize,
}

/// What a package is made from, and by whom.
pub struct Facts<'a> {
    /// How much of a field it shows.
    pub level: Level,
    /// The counties.
    pub region: &'a Region,
    /// The protocols, by id.
    pub protocols: Vec<&'a Protocol>,
    /// The version of the store.
    pub store_version: i64,
    /// The season, if it is one alone.
    pub season: Option<i32>,
    /// When the newest submission came in.
    pub received_until: Option<Timestamp>,
    /// Name of the office; empty if the settings do not say.
    pub office: String,
    /// How to reach it; empty if the settings do not say.
    pub contact: String,
    /// The licence, if it is stated.
    pub licence: Option<Licence>,
    /// The command that makes the same package again.
    pub command: String,
    /// Program and version.
    pub program: &'a str,
    /// What was read in addition to the store: name and SHA-256.
    pub inputs: Vec<(String, String)>,
    /// The rule of public rows, as the settings have it.
    pub rule: Rule,
    /// Height and about the width of a grid cell, kilometres.
    pub grid_km: f64,
    /// What is left out of single rows.
    pub held_back: Option<HeldBack>,
}

impl Facts<'_> {
    /// A name for programs.
    fn name(&self) -> String {
        let season = self
            .season
            .map_or(String::new(), |season| format!("-{season}"));
        format!(
            "scouting-{}-store-{}{season}",
            self.level.word(),
            self.store_version
        )
    }

    fn title(&self) -> String {
        let season = match self.season {
            Some(season) => format!("season {season}"),
            None => "all seasons".to_owned(),
        };
        let place = one_line(self.region.title());
        let of = if place.is_empty() {
            String::new()
        } else {
            format!(" of {place}")
        };
        let invented = if self.region.invented().is_some() {
            " (invented data)"
        } else {
            ""
        };
        format!(
            "Pest scouting{of}, {season}, level {}{invented}",
            self.level.word()
        )
    }

    /// What it is, in a few sentences.
    fn about(&self) -> String {
        let what = match self.level {
            Level::Public => {
                "Public rows of counties and of places elsewhere in the region, and what follows from them: nothing of a field. \
                 Fields of too few farms, or too few fields, are in no row."
            }
            Level::Grid => {
                "PRIVATE, under the terms of TERMS.md: visits and field-weeks without what leads back to a field, farm or scout, \
                 rounded, each row among enough others of its grid cell or county; and the public tables of counties and \
                 the region."
            }
            Level::Full => {
                "PRIVATE, under the terms of TERMS.md: every visit that counts with its raw counts, its field, farm, scout, \
                 point and economics; and all that is computed of them."
            }
        };
        let notice = self
            .region
            .invented()
            .map(|notice| format!("{} ", one_line(notice)));
        format!("{}{what}", notice.unwrap_or_default())
    }

    /// Under which licence it may be used.
    fn rights(&self) -> String {
        if self.level.is_private() {
            return "Under the terms of TERMS.md alone, as agreed with the office: not to be passed on or published."
                .to_owned();
        }
        match &self.licence {
            Some(licence) => format!("Licence of the data: {}.", licence.in_words()),
            None => "The licence of the data is not stated: ask whoever gave you the package before you pass it on or \
                     publish it."
                .to_owned(),
        }
    }

    fn parameters(&self) -> Value {
        json!({
            "level": self.level.word(),
            "storeVersion": self.store_version,
            "season": self.season,
            "disclosureLevel": self.rule.level.word(),
            "minFields": self.rule.min_fields,
            "minFarms": self.rule.min_farms,
            "minFieldsWithoutFarms": self.rule.min_fields_without_farms,
            "pointGridKm": self.grid_km,
        })
    }
}

/// A file of a package.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackageFile {
    /// Its plain name.
    pub name: String,
    /// What it is.
    pub about: String,
    /// What is in it.
    pub bytes: Vec<u8>,
    /// The texts within it, where it is packed: name and bytes.
    pub within: Vec<(String, Vec<u8>)>,
}

impl PackageFile {
    fn new(name: impl Into<String>, about: impl Into<String>, bytes: Vec<u8>) -> PackageFile {
        PackageFile {
            name: name.into(),
            about: about.into(),
            bytes,
            within: Vec::new(),
        }
    }
}

/// Every file of the package, in the order in which a reader needs them.
///
/// # Errors
/// A [`Failure`] if one cannot be made.
pub fn package(facts: &Facts, tables: &[ExportTable]) -> Result<Vec<PackageFile>, Failure> {
    let mut files = Vec::new();
    let notes = notes_of(facts);
    for table in tables {
        let about = table.title.to_owned();
        files.push(PackageFile::new(
            format!("{}.csv", table.name),
            about.clone(),
            table.csv()?,
        ));
        let parquet = table.parquet(facts.region.invented(), &notes)?;
        files.push(PackageFile::new(
            format!("{}.parquet", table.name),
            about,
            parquet,
        ));
    }
    files.push(archive::darwin_core_archive(facts, tables)?);
    let dictionary = dictionary::dictionary(facts, tables).into_bytes();
    let about = "Data dictionary: every table and column, and how one comes from another.";
    files.push(PackageFile::new("DICTIONARY.md", about, dictionary));
    let citation = citation::citation_file(facts).into_bytes();
    files.push(PackageFile::new(
        "CITATION.cff",
        "How to cite the package (Citation File Format 1.2.0).",
        citation,
    ));
    if facts.level.is_private() {
        let terms = terms::terms(facts).into_bytes();
        let about = "Terms to be agreed with whoever takes the package, before it is handed over.";
        files.push(PackageFile::new("TERMS.md", about, terms));
    }
    let package = data_package::data_package(facts, tables, &files)?;
    let about =
        "The package for programs: a Data Package (version 2) with a Table Schema for each table.";
    files.push(PackageFile::new("datapackage.json", about, package));
    let readme = readme::readme(facts, tables, &files).into_bytes();
    files.insert(0, PackageFile::new("README.md", "What this is.", readme));
    let sums = sums_of(&files).into_bytes();
    files.push(PackageFile::new(
        "SHA256SUMS",
        "SHA-256 of every file, for sha256sum --check.",
        sums,
    ));
    Ok(files)
}

/// What every Parquet file says of itself in addition to its columns.
fn notes_of(facts: &Facts) -> Vec<(&'static str, String)> {
    let mut notes = vec![
        ("level", facts.level.word().to_owned()),
        ("store_version", facts.store_version.to_string()),
    ];
    if facts.level.is_private() {
        notes.push(("private", facts.about()));
    }
    notes
}

fn sums_of(files: &[PackageFile]) -> String {
    let mut lines: Vec<String> = files
        .iter()
        .map(|file| format!("{}  {}\n", sha256_of(&file.bytes), file.name))
        .collect();
    lines.sort_by(|one, other| one[64..].cmp(&other[64..]));
    lines.concat()
}

/// SHA-256, hexadecimal.
fn sha256_of(bytes: &[u8]) -> String {
    let hash = Sha256::digest(bytes);
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A text of other people on one line, without what is not seen.
fn one_line(text: &str) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    crate::shared::unseen::plain_text(&words.join(" "))
}

fn unmade(error: impl Into<Cause>) -> Failure {
    Failure::because(Kind::Publish, "cannot make the package", error)
}
