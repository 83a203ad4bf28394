//! `bractline demo`: an invented region, from its submissions to its alert.

use std::path::{Path, PathBuf};

use super::Outcome;
use super::alert::write_alert;
use super::init::make_workspace;
use super::load::load_all;
use super::report;
use super::rollup::roll_up_to;
use super::submissions::{Submissions, sentence};
use crate::failure::{Failure, Kind};
use crate::sample::{DemoFiles, SampleOptions, demo_files};
use crate::visit::week::IsoWeek;
use crate::workspace::own_region;

/// Make an invented region and run the whole job on it
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  bractline demo\n\nEverything in it is invented and says so: region, farms, scouts and counts."
)]
pub struct Demo {
    /// Folder to make
    #[arg(value_name = "DIR", default_value = "sample_data/demo")]
    folder: PathBuf,
}

impl Demo {
    pub(super) async fn run(self) -> Result<Outcome, Failure> {
        let sample = demo_files(&SampleOptions::default())?;
        let counties = own_region("county_id", "county_name");
        let boundaries = Some(sample.region_geojson.as_str());
        let (workspace, _) = make_workspace(&self.folder, &counties, boundaries, "").await?;
        let inbox = self.folder.join("submissions");
        write_submissions(&inbox, &sample)?;
        let accounts = load_all(
            &workspace,
            &Submissions::look_at(std::slice::from_ref(&inbox))?,
        )
        .await?;
        let out = self.folder.join("figures");
        let figures = roll_up_to(&workspace, &out).await?;
        let week = latest_week(figures.county_weeks.iter().map(|row| row.iso_week.as_str()))?;
        let page = write_alert(&workspace, &figures, week, None)?;
        let again = format!("{} --workspace {}", program(), self.folder.display());
        report::say(&format!(
            "An invented region, {} counties and {}:\n  {}\n\n\
             Open\n  {}  the alert of {week}\n  {}  the map, for any viewer\n  {}  every county and week\n\n\
             Look further\n  {again} held list\n  {again} store verify\n  {again} alert --week {}",
            figures.region.counties().len(),
            report::counted(sample.submissions.len() as u64, "submission", "submissions"),
            sentence(accounts.sum()),
            page.display(),
            page.with_file_name("county_week.geojson").display(),
            out.join("county_week.csv").display(),
            week.previous().unwrap_or(week),
        ))?;
        Ok(Outcome::Done)
    }
}

/// The program as it was started, so that the lines can be typed as they stand.
fn program() -> String {
    std::env::args()
        .next()
        .unwrap_or_else(|| "bractline".to_owned())
}

fn write_submissions(inbox: &Path, sample: &DemoFiles) -> Result<(), Failure> {
    std::fs::create_dir(inbox).map_err(|error| Failure::file("make", inbox, &error))?;
    for submission in &sample.submissions {
        let path = inbox.join(&submission.file_name);
        std::fs::write(&path, &submission.bytes)
            .map_err(|error| Failure::file("write", &path, &error))?;
    }
    Ok(())
}

fn latest_week<'a>(weeks: impl Iterator<Item = &'a str>) -> Result<IsoWeek, Failure> {
    weeks
        .filter_map(|week| week.parse().ok())
        .max()
        .ok_or_else(|| Failure::new(Kind::Publish, "the demo has no week with visits"))
}
