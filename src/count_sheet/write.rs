//! The files of a count sheet, for one season.

use std::path::PathBuf;

use jiff::civil::Date;

use crate::count_sheet::page::count_sheet_page;
use crate::count_sheet::words::SheetOptions;
use crate::count_sheet::workbook::count_sheet_xlsx;
use crate::shared::files::write_folder;
use crate::shared::shown_numbers::Units;
use crate::workspace::Workspace;
use crate::workspace::open::open_catalogue;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Catalogue;
use scouting::visit::rules::limits::SeasonDays;

/// The season that a new workspace has, for sheets made before there is one.
const SEASON_WITHOUT_WORKSPACE: SeasonDays = SeasonDays {
    first: (6, 1),
    last: (9, 30),
};

/// Which count sheets are wanted.
pub(crate) struct WantedSheets {
    /// Id of the protocol.
    pub(crate) protocol: String,
    /// Output folder.
    pub(crate) out: PathBuf,
    /// Number of visits.
    pub(crate) visits: usize,
    /// Sites of a visit; the protocol's least number if `None`.
    pub(crate) sites: Option<usize>,
    /// Whether heads are counted with one total each.
    pub(crate) totals_only: bool,
    /// Year of the season's first day.
    pub(crate) year: i16,
}

/// Writes the workbook and the page; their paths.
///
/// # Errors
/// A [`Failure`] if there is no such protocol, or the sheet would be too large.
pub(crate) fn write_sheets(
    workspace: Option<&Workspace>,
    wanted: &WantedSheets,
) -> Result<[PathBuf; 2], Failure> {
    let (catalogue, season) = match workspace {
        Some(workspace) => (open_catalogue(workspace)?, workspace.season()?),
        None => (
            Catalogue::read(None, store::stages::expression::plan)?,
            SEASON_WITHOUT_WORKSPACE,
        ),
    };
    let protocol = catalogue.protocol(&wanted.protocol).ok_or_else(|| {
        Failure::new(Kind::Protocol, format!("no protocol {:?}", wanted.protocol))
            .mend(format!("the catalog has {}", catalogue.ids()))
    })?;
    let options = SheetOptions {
        visits: wanted.visits,
        sites: wanted.sites,
        totals_only: wanted.totals_only,
        units: workspace.map_or_else(Units::default, |one| one.settings().units.system),
        season: days_of(season, wanted.year)?,
        program: format!("bractline {}", env!("CARGO_PKG_VERSION")),
    };
    let workbook = count_sheet_xlsx(protocol, &options)?;
    let page = count_sheet_page(protocol, &options)?;
    let names = ["xlsx", "html"].map(|ending| format!("count-sheet-{}.{ending}", protocol.id));
    write_folder(
        &wanted.out,
        &[(&names[0], &workbook), (&names[1], page.as_bytes())],
    )?;
    Ok(names.map(|name| wanted.out.join(name)))
}

/// The days of one season; one that spans the new year ends in the year after its first day. A 29 February
/// that the year lacks is taken as the 28th.
fn days_of(season: SeasonDays, year: i16) -> Result<(Date, Date), Failure> {
    let day = |year: i16, (month, day): (i8, i8)| {
        Date::new(year, month, day)
            .or_else(|_| Date::new(year, month, day - 1))
            .map_err(|error| Failure::because(Kind::Settings, "no such season", error))
    };
    let last_year = if season.first <= season.last {
        year
    } else {
        year + 1
    };
    Ok((day(year, season.first)?, day(last_year, season.last)?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_season_that_spans_the_new_year_ends_in_the_next() {
        let text = |first, last, year| {
            let (first, last) = days_of(SeasonDays { first, last }, year).expect("a season");
            format!("{first} {last}")
        };
        assert_eq!(text((6, 1), (9, 30), 2026), "2026-06-01 2026-09-30");
        assert_eq!(text((11, 1), (2, 29), 2026), "2026-11-01 2027-02-28");
    }
}
