//! The demo: an invented workspace, from its submissions to its alert.

use std::path::{Path, PathBuf};

use jiff::Timestamp;

use crate::alert::chosen::{Choice, newest_week};
use crate::alert::draft::write_drafts;
use crate::alert::issue::issuing::issue;
use crate::alert::issue::request::IssueRequest;
use crate::alert::note::given::Notes;
use crate::demo::files::{DemoFiles, demo_files};
use crate::demo::options::SampleOptions;
use crate::figures::files::roll_up_to;
use crate::figures::rolled_up::Figures;
use crate::load::each::load_all;
use crate::load::submissions::{Submissions, sentence};
use crate::shared::report;
use crate::workspace::init::make_workspace;
use crate::workspace::open::{open_snapshot, open_store};
use crate::workspace::{RegionSettings, Workspace, own_region};
use disclosure::editions::Entry;
use scouting::failure::{Failure, Kind};
use scouting::visit::week::IsoWeek;
use store::alerts::table::AlertBook;
use store::public::public_rows::Publishing;
use store::stages::rollup::Period;

/// Makes the demo in a folder; what to say of it. `program` is what starts the program.
///
/// # Errors
/// A [`Failure`] if the folder is not empty or cannot be written.
pub(crate) async fn play(
    folder: &Path,
    program: &str,
    now: impl Fn() -> Timestamp + Copy,
) -> Result<String, Failure> {
    let sample = demo_files(&SampleOptions::default())?;
    let counties = RegionSettings {
        district_property: "district".to_owned(),
        ..own_region("county_id", "county_name")
    };
    let boundaries = Some(sample.region_geojson.as_str());
    let (workspace, _) = make_workspace(folder, &counties, boundaries, "").await?;
    let inbox = folder.join("submissions");
    write_submissions(&inbox, &sample)?;
    let accounts = load_all(
        &workspace,
        &Submissions::look_at(std::slice::from_ref(&inbox))?,
        now,
    )
    .await?;
    let page = alerts(&workspace, now).await?;
    let out = folder.join("figures");
    let figures = roll_up_to(&workspace, &out).await?;
    let week = newest_week(&figures)?;
    let again = format!("{program} --workspace {}", folder.display());
    Ok(format!(
        "An invented region, {} counties and {}:\n  {}\n\n\
             Open\n  {}  the alert of {week}, a draft; those of earlier weeks are issued\n  {}  the map, for any viewer\n  {}  what is public, by county and week\n  {}  the office's figures in full: private\n\n\
             Look further\n  {again} held list\n  {again} store verify\n  {again} alert --week {}",
        figures.region.counties().len(),
        report::counted(sample.submissions.len() as u64, "submission", "submissions"),
        sentence(accounts.sum()),
        page.display(),
        page.with_file_name("county_week.geojson").display(),
        out.join("public").join("county_week.csv").display(),
        out.join("private").join("county_week_full.csv").display(),
        week.previous().unwrap_or(week),
    ))
}

/// Weeks before the newest whose alerts are issued one by one; those before them are published together, which is quicker.
const WEEKS_ISSUED: usize = 2;

/// Publishes all weeks but the newest and drafts the alerts of the newest; the page of its first protocol.
async fn alerts(workspace: &Workspace, now: impl Fn() -> Timestamp) -> Result<PathBuf, Failure> {
    let snapshot = open_snapshot(workspace).await?;
    let mut figures = Figures::newest(workspace, &snapshot, None, &Publishing::Nothing).await?;
    let newest = newest_week(&figures)?;
    let visited = figures.visited();
    let mut weeks: Vec<IsoWeek> = visited
        .iter()
        .filter_map(|(week, _)| week.parse().ok())
        .filter(|week| *week < newest)
        .collect();
    weeks.dedup();
    let to_issue = weeks.split_off(weeks.len().saturating_sub(WEEKS_ISSUED));
    let store = open_store(workspace).await?;
    figures = figures
        .publishing(&[], &Publishing::All(Period::All))
        .await?;
    let earlier = figures.entering.iter().filter(|entry| {
        let week = entry.row.iso_week.parse::<IsoWeek>();
        week.is_ok_and(|week| weeks.contains(&week))
    });
    let earlier: Vec<Entry> = earlier.cloned().collect();
    let book = AlertBook::open(&store).await?;
    book.export(&store, earlier, snapshot.version(), now())
        .await?;
    for (week, protocol) in &visited {
        let week = week.parse().ok().filter(|week| to_issue.contains(week));
        if let Some(week) = week {
            let request = IssueRequest::Week(week, protocol.clone());
            issue(workspace, &request, &Notes::None, now()).await?;
        }
    }
    let (week, protocols) = Choice::default().of(&figures)?;
    let of_week = (week, protocols.as_slice());
    let drafts = write_drafts(workspace, &snapshot, figures, of_week, &Notes::None).await?;
    let page = drafts.into_iter().map(|draft| draft.page).next();
    page.ok_or_else(|| Failure::new(Kind::Publish, "the demo has no week with visits"))
}

fn write_submissions(inbox: &Path, sample: &DemoFiles) -> Result<(), Failure> {
    std::fs::create_dir(inbox).map_err(|error| Failure::file("make", inbox, error))?;
    for submission in &sample.submissions {
        let path = inbox.join(&submission.file_name);
        std::fs::write(&path, &submission.bytes)
            .map_err(|error| Failure::file("write", &path, error))?;
    }
    Ok(())
}
