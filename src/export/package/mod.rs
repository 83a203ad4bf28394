//! A package for researchers: the tables of one store version at a chosen level of confidentiality, with all
//! that somebody needs who has nothing else.
//!
//! What may be in it was decided before: of public rows in `disclosure`, of single visits in `export/grid_rows.rs`. Reads
//! no clock and knows no path, so that the same store version, public rows and choices give the same bytes.

mod archive;
mod citation;
pub(crate) mod contents;
pub(crate) mod credits;
mod darwin_core;
mod darwin_event;
mod darwin_measures;
mod data_package;
mod dictionary;
mod eml;
pub mod facts;
mod limits;
pub mod package_file;
pub(super) mod protocol_table;
mod readme;
mod table;
mod taxa;
mod terms;

use self::facts::Facts;
use self::package_file::PackageFile;
use self::table::ExportTable;
use crate::alert::inputs::sha256_of;
use scouting::failure::Failure;

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
        let about = "Terms to be agreed with the recipient before the package is handed over.";
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
