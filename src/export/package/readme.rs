//! `README.md` of a package: what it is, what it was made from, what is held back, and what must be minded.

use std::fmt::Write;

use super::facts::{Facts, HeldBack, Level};
use super::package_file::PackageFile;
use super::table::ExportTable;
use crate::figures::map::columns::plain;
use crate::shared::cautions;
use crate::shared::shown_days::moment_in_words;
use scouting::protocol::catalogue::Protocol;

pub(super) fn readme(facts: &Facts, tables: &[ExportTable], files: &[PackageFile]) -> String {
    let mut page = format!("# {}\n\n", plain(&facts.title()));
    // Writing to a String cannot fail.
    if let Some(notice) = facts.region.invented() {
        let _ = writeln!(page, "**{}**\n", plain(notice));
    }
    let _ = writeln!(page, "> {}\n", cautions::IN_ONE_SENTENCE);
    let _ = writeln!(page, "{}\n", plain(&facts.about()));
    add_files(&mut page, tables, files);
    add_made_from(&mut page, facts);
    add_held_back(&mut page, facts);
    let _ = writeln!(
        page,
        "## License and citation\n\n{}\n",
        plain(&facts.rights())
    );
    page.push_str("Cite it as `CITATION.cff` says, with the version of the store. ");
    let credits = &facts.credits;
    if let Some(url) = credits.doi_url() {
        let _ = write!(page, "DOI: <{url}>. ");
    }
    let authors = credits.creators.iter().map(|creator| {
        let orcid = creator.orcid_url();
        let orcid = orcid.map_or(String::new(), |url| format!(" (<{url}>)"));
        format!("{}{orcid}", plain(&creator.name()))
    });
    let authors = authors.collect::<Vec<_>>().join(", ");
    if !authors.is_empty() {
        let _ = write!(page, "Authors: {authors}. ");
    }
    if let Some(funding) = credits.funding() {
        let _ = write!(page, "{} ", plain(&funding));
    }
    match facts.office.is_empty() {
        true => page.push_str("Who made it is not stated.\n\n"),
        false => {
            let _ = writeln!(
                page,
                "Made by {}. {}\n",
                plain(&facts.office),
                plain(&facts.contact)
            );
        }
    }
    page.push_str("## Cautions\n\n");
    let protocols = || facts.protocols.iter().copied();
    let crops = protocols().map(cautions::crop_and_stage);
    page.push_str(&cautions::cautions_markdown(crops));
    let with_own = |protocol: &&Protocol| !protocol.cautions.is_empty();
    if protocols().any(|protocol| with_own(&protocol)) {
        page.push_str("\n### Of single protocols\n\n");
    }
    for protocol in protocols() {
        for caution in &protocol.cautions {
            let _ = writeln!(
                page,
                "- **{}:** {}",
                plain(&protocol.title),
                plain(&caution.text)
            );
        }
    }
    page
}

fn add_files(page: &mut String, tables: &[ExportTable], files: &[PackageFile]) {
    page.push_str("## What is here\n\n| file | what | rows |\n|---|---|--:|\n");
    for table in tables {
        let name = table.name;
        let _ = writeln!(
            page,
            "| `{name}.csv`, `{name}.parquet` | {} | {} |",
            plain(table.title),
            table.rows()
        );
    }
    let is_table =
        |file: &PackageFile| file.name.ends_with(".csv") || file.name.ends_with(".parquet");
    for file in files.iter().filter(|file| !is_table(file)) {
        let _ = writeln!(page, "| `{}` | {} | |", file.name, plain(&file.about));
    }
    page.push_str(
        "| `SHA256SUMS` | SHA-256 of every file, for `sha256sum --check SHA256SUMS`. | |\n\n\
         Parquet files with places are GeoParquet 1.1 (longitude and latitude, WGS 84). Every column is explained in \
         `DICTIONARY.md`, and so is how one table comes from another.\n\n",
    );
}

fn add_made_from(page: &mut String, facts: &Facts) {
    let until = facts
        .received_until
        .map_or_else(|| "no report yet".to_owned(), moment_in_words);
    let region = facts.region;
    let _ = writeln!(
        page,
        "## What it was made from\n\n- Store version {}; the newest report came in {until}.\n- Program: {}.\n- Boundaries: {} \
         (vintage {}).\n- Command, in the workspace: `{}`\n- Disclosure control: level {}; a row is based on at \
         least {} fields of {} farms, or on {} fields in a season without any farm id; grid of {} km.",
        facts.store_version,
        facts.program,
        plain(region.source()),
        plain(region.vintage()),
        facts.command,
        facts.rule.level.word(),
        facts.rule.min_fields,
        facts.rule.min_farms,
        facts.rule.min_fields_without_farms,
        facts.grid_km
    );
    for (name, sha256) in &facts.inputs {
        let _ = writeln!(page, "- SHA-256 of {}: `{sha256}`", plain(name));
    }
    page.push_str(
        "\nThe same program makes the same bytes of the same store version, public rows, settings, protocols, boundaries and \
         weather. Later reports make a new version and change no old one. A row that is withdrawn later is in no package \
         that is made after that.\n\n",
    );
}

fn add_held_back(page: &mut String, facts: &Facts) {
    page.push_str(
        "## What is withheld\n\nThe public tables hold public rows: those that were issued with an alert or exported. Fields of a \
         county that are too few, or of too few farms, are in no row of that county: they are in a row `elsewhere`, or in \
         none. A county without a row was not visited, or its fields are too few to publish; the two look the same, \
         and how many there are is not given. A row changes once at most. How counts and medians are coarsened is in \
         `DICTIONARY.md`.\n",
    );
    match (facts.level, facts.held_back) {
        (Level::Full, _) => page.push_str(
            "\nEvery visit and field is in this package all the same: it is private, and `TERMS.md` says on which terms it may be \
             handed over. Superseded and withdrawn revisions and held records are not here; the store keeps them.\n",
        ),
        (_, Some(held)) => add_grid(page, held),
        (_, None) => {}
    }
    page.push('\n');
}

fn add_grid(page: &mut String, held: HeldBack) {
    let _ = writeln!(
        page,
        "\nThe tables of visits and field-weeks are private: `TERMS.md` says on which terms they may be handed over. No visit \
         and no field of a county-week that is too small for a public row is here, and how many there are is not given, since \
         that would reveal them.\n\n\
         Of the others {} field-weeks are here. Each is given among as many fields and farms as a public row needs, of the same \
         county, week, protocol and side of the stage window: those of its grid cell, or of one two, four or eight times as \
         wide; where these have too few, its county alone is given, as of {} of them. {} field-weeks outside the stage window \
         are left out: too few in their county and week.\n\n\
         Left out of every row: ids, points, outlines, notes, names, scouts, days, areas, crop types, crop stages, costs, \
         prices, plant populations and thresholds, and how sure a field is. Means have two significant digits; pressure \
         is given as its class.",
        held.field_weeks, held.by_county_alone, held.outside_window
    );
}
