//! `bractline sheet`: count sheets for scouts.

use std::path::PathBuf;

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::{Outcome, open_catalogue};
use crate::count_sheet::page::count_sheet_page;
use crate::count_sheet::words::SheetOptions;
use crate::count_sheet::workbook::count_sheet_xlsx;
use crate::failure::{Failure, Kind};
use crate::protocol::catalogue::Catalogue;
use crate::shared::files::write_folder;
use crate::shared::report;
use crate::visit::rules::SeasonDays;
use crate::workspace::Workspace;

/// The season that a new workspace has, for sheets made before there is one.
const SEASON_WITHOUT_WORKSPACE: SeasonDays = SeasonDays {
    first: (6, 1),
    last: (9, 30),
};

/// Make count sheets for scouts: a spreadsheet that `load` takes back, and a page to print
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline sheet --protocol bsm-eggs --out sheets\n  bractline sheet --protocol bsm-eggs --visits 12 --sites 8 --out sheets\n\nWrites count-sheet-PROTOCOL.xlsx and count-sheet-PROTOCOL.html. It needs no workspace; in one it takes its season\nand its own protocols. A filled spreadsheet goes back with: bractline load FILE"
)]
pub struct Sheet {
    /// Id of the protocol, as `bractline protocols list` shows it
    #[arg(long, value_name = "ID")]
    protocol: String,

    /// Folder to write to
    #[arg(long, value_name = "DIR")]
    out: PathBuf,

    /// Visits to lay out
    #[arg(long, value_name = "NUMBER", default_value_t = 8)]
    visits: usize,

    /// Sites of a visit [default: the protocol's least number]
    #[arg(long, value_name = "NUMBER")]
    sites: Option<usize>,

    /// Year of the season's first day [default: this year]
    #[arg(long, value_name = "YEAR", value_parser = clap::value_parser!(i16).range(1900..=2900))]
    season: Option<i16>,
}

impl Sheet {
    pub(super) async fn run(self, workspace: Option<&Workspace>) -> Result<Outcome, Failure> {
        let (catalogue, season) = match workspace {
            Some(workspace) => (open_catalogue(workspace)?, workspace.season()?),
            None => (
                Catalogue::read(None, crate::rollup::expression::plan)?,
                SEASON_WITHOUT_WORKSPACE,
            ),
        };
        let protocol = catalogue.protocol(&self.protocol).ok_or_else(|| {
            Failure::new(Kind::Protocol, format!("no protocol {:?}", self.protocol))
                .mend(format!("the catalogue has {}", catalogue.ids()))
        })?;
        let options = SheetOptions {
            visits: self.visits,
            sites: self.sites,
            season: days_of(season, self.season.unwrap_or_else(this_year))?,
            program: format!("bractline {}", env!("CARGO_PKG_VERSION")),
        };
        let workbook = count_sheet_xlsx(protocol, &options)?;
        let page = count_sheet_page(protocol, &options)?;
        let names = ["xlsx", "html"].map(|ending| format!("count-sheet-{}.{ending}", protocol.id));
        write_folder(
            &self.out,
            &[(&names[0], &workbook), (&names[1], page.as_bytes())],
        )?;
        let paths = names.map(|name| self.out.join(name).display().to_string());
        report::say(&paths.join("\n"))?;
        Ok(Outcome::Done)
    }
}

fn this_year() -> i16 {
    TimeZone::UTC.to_datetime(Timestamp::now()).year()
}

/// The days of one season; one that spans the new year ends in the year after its first day. A 29 February
/// that the year lacks is taken as the 28th.
fn days_of(season: SeasonDays, year: i16) -> Result<(Date, Date), Failure> {
    let day = |year: i16, (month, day): (i8, i8)| {
        Date::new(year, month, day)
            .or_else(|_| Date::new(year, month, day - 1))
            .map_err(|error| Failure::new(Kind::Settings, format!("no such season: {error}")))
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
