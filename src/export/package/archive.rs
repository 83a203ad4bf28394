//! The Darwin Core archive: its tables as CSV, `meta.xml` that says which column is which term, `eml.xml`, packed.
//!
//! Text guide: <https://dwc.tdwg.org/text/>. Which terms get which values is decided in `darwin_core.rs`.

use std::io::{Cursor, Write};

use askama::Template;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

use super::darwin_core::{DwcTable, darwin_core_tables};
use super::eml::eml_xml;
use super::facts::Facts;
use super::package_file::{PackageFile, unmade};
use super::table::ExportTable;
use scouting::failure::Failure;
use scouting::visit::words::disarmed;

/// Name of the packed file.
pub(super) const ARCHIVE: &str = "dwca.zip";

#[derive(Template)]
#[template(path = "dwca_meta.xml", config = "src/shared/templates/askama.toml")]
struct Meta<'a> {
    core: Described<'a>,
    extensions: Vec<Described<'a>>,
}

struct Described<'a> {
    row_type: &'static str,
    file: &'static str,
    /// Place and address of each term, but for the first column, which is the id.
    terms: Vec<(usize, String)>,
    table: &'a DwcTable,
}

/// The archive of a package's events.
///
/// # Errors
/// A [`Failure`] if a table lacks a column or the archive cannot be written.
pub(super) fn darwin_core_archive(
    facts: &Facts,
    tables: &[ExportTable],
) -> Result<PackageFile, Failure> {
    let made = darwin_core_tables(facts, tables)?;
    let mut described = made.iter().map(|table| Described {
        row_type: table.row_type,
        file: table.file,
        terms: (1..)
            .zip(table.terms[1..].iter().map(|term| term.address()))
            .collect(),
        table,
    });
    let core = described.next().ok_or_else(|| unmade("no core"))?;
    let meta = Meta {
        core,
        extensions: described.collect(),
    };
    let meta = meta.render().map_err(unmade)?;
    let mut within = vec![
        ("meta.xml".to_owned(), meta.into_bytes()),
        ("eml.xml".to_owned(), eml_xml(facts, &made[0])?),
    ];
    for table in &made {
        within.push((table.file.to_owned(), csv_of(table)?));
    }
    let about = "The events of the package as a Darwin Core archive: what was sampled, what was found and what was not.";
    Ok(PackageFile {
        bytes: packed(&within)?,
        within,
        ..PackageFile::new(ARCHIVE, about, Vec::new())
    })
}

fn csv_of(table: &DwcTable) -> Result<Vec<u8>, Failure> {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    let names = table.terms.iter().map(|term| term.name());
    writer.write_record(names).map_err(unmade)?;
    for row in &table.rows {
        // A negative number is no formula.
        let cells = row.iter().map(|cell| match cell.parse::<f64>() {
            Ok(_) => cell.clone(),
            Err(_) => disarmed(cell),
        });
        let written = writer.write_record(cells);
        written.map_err(unmade)?;
    }
    writer.into_inner().map_err(unmade)
}

/// The files in one, with no time of their making: the same files give the same bytes.
fn packed(files: &[(String, Vec<u8>)]) -> Result<Vec<u8>, Failure> {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(DateTime::default())
        .large_file(true);
    for (name, bytes) in files {
        archive.start_file(name, options).map_err(unmade)?;
        archive.write_all(bytes).map_err(unmade)?;
    }
    let written = archive.finish().map_err(unmade)?;
    Ok(written.into_inner())
}
