//! Builds the files of an alert, writing nothing.

use crate::alert::bulletin::{Bulletin, LastWeek};
use crate::alert::issue::facts::{Issue, folder_name};
use crate::alert::map_page::map_html;
use crate::alert::note::rendered::Note;
use crate::alert::page::handout::files::handout_files;
use crate::alert::page::html::alert_html;
use crate::alert::page::still_to_come::{arrived_in_short, still_to_come};
use crate::alert::page::text::alert_markdown;
use crate::alert::page::wording::{headline_of, paragraph};
use crate::alert::protocol_facts::facts;
use crate::figures::place::Place;
use crate::figures::rolled_up::{Figures, day_of};
use crate::seasons::season::seasons_of;
use crate::seasons::season_place::season_place_in_words;
use crate::seasons::season_so_far::SeasonSoFar;
use crate::seasons::season_weeks::season_weeks;
use crate::shared::count_words::CountWords;
use crate::shared::files::OutputFile;
use crate::shared::shown_days::moment_in_words;
use crate::shared::unseen::plain_text;
use disclosure::public_row::PublicRow;
use scouting::failure::Failure;
use scouting::protocol::catalogue::Protocol;
use scouting::visit::week::IsoWeek;
use store::stages::rollup::Period;

/// The files of an alert, and what the feed and the list say of it.
pub(crate) struct Built {
    /// Name and bytes of each file.
    pub(crate) files: Vec<OutputFile>,
    pub(crate) headline: String,
    pub(crate) summary: String,
    pub(crate) title: String,
}

/// Builds the alert of a week, writing nothing.
pub(crate) fn build(
    figures: &Figures,
    week: IsoWeek,
    protocol: &Protocol,
    note: Option<&Note>,
    issue: Option<&Issue>,
) -> Result<Built, Failure> {
    let rows = figures.rows_under(week, &protocol.id);
    let last_week = week.previous().map(|week| {
        let rows = figures.rows_under(week, &protocol.id);
        let fields = rows.iter().map(|row| row.fields_visited).sum();
        let reporting = still_to_come(&figures.arrivals.arrived(week, &protocol.id), fields);
        (week, rows, reporting)
    });
    let last_week = last_week
        .as_ref()
        .filter(|(_, rows, _)| !rows.is_empty())
        .map(|(week, rows, reporting)| LastWeek {
            week: *week,
            rows,
            reporting,
        });
    let iso_week = week.to_string();
    let fields = rows.iter().map(|row| row.fields_visited).sum();
    let season_now = season_now(figures, week, protocol);
    let so_far = SeasonSoFar::of(&figures.public, week, &protocol.id, &protocol.scale)?;
    let public_folder = public_folder(figures, issue);
    let arrived = figures.arrivals.arrived(week, &protocol.id);
    let arrived_in_short = arrived_in_short(&arrived, fields);
    let bulletin = Bulletin {
        iso_week: &iso_week,
        weeks: &figures.setting.weeks,
        region: &figures.region,
        rows: &rows,
        rule: &figures.setting.rule,
        visits_until: figures
            .received_until
            .map(|_| day_of(figures.received_until)),
        previous: last_week.map(|last| last.rows),
        last_week,
        so_far: &so_far,
        protocol: &facts(protocol, figures.units)?,
        contact: &figures.contact,
        office: &figures.office,
        generated_at: &as_of(figures),
        season_now: season_now.as_deref(),
        still_to_come: &still_to_come(&arrived, fields),
        arrived: arrived_in_short.as_deref(),
        program_version: concat!("bractline ", env!("CARGO_PKG_VERSION")),
        store_version: figures.rollup.store_version,
        note,
        issue,
        public_folder: public_folder.as_deref(),
    };
    let period = Period::Week(week);
    let mut files = vec![
        ("alert.html", alert_html(&bulletin)?.into_bytes()),
        ("alert.md", alert_markdown(&bulletin)?.into_bytes()),
        ("map.html", map_html(&bulletin)?.into_bytes()),
        (
            "county_week.csv",
            figures.csv(figures.public.county_week(), period, Some(&protocol.id))?,
        ),
        (
            "elsewhere_week.csv",
            figures.csv(figures.public.elsewhere_week(), period, Some(&protocol.id))?,
        ),
    ];
    files.extend(figures.map_files(period, Some(&protocol.id))?);
    files.extend(handout_files(&bulletin)?);
    Ok(Built {
        headline: headline_of(&bulletin),
        summary: paragraph(&bulletin),
        title: plain_text(&protocol.title),
        files,
    })
}

/// Where the alert will be read, if it is issued and the office has set its address.
fn public_folder(figures: &Figures, issue: Option<&Issue>) -> Option<String> {
    let base = Some(&figures.base_url).filter(|base| !base.is_empty())?;
    Some(format!("{base}{}/", folder_name(issue?.number)))
}

/// How the week of the region compares with earlier seasons; `None` where no county is shown.
fn season_now(figures: &Figures, week: IsoWeek, protocol: &Protocol) -> Option<String> {
    let rows = figures.public.rows().iter();
    let rows: Vec<PublicRow> = rows
        .filter(|row| row.protocol == protocol.id)
        .cloned()
        .collect();
    let mut seasons = seasons_of(&rows, &figures.setting.counties, &figures.heat);
    seasons.retain(|season| season.place == Place::Region);
    let mut weeks = season_weeks(&seasons).into_iter();
    let now = weeks.find(|now| now.iso_week() == week.to_string())?;
    let shown = (CountWords::of(protocol), figures.units);
    Some(season_place_in_words(&now, figures.heat.from(), shown))
}

/// The moment that the figures speak of: the newest submission, so that the same store gives the same
/// page.
fn as_of(figures: &Figures) -> String {
    figures
        .received_until
        .map_or_else(|| "no report yet".to_owned(), moment_in_words)
}
