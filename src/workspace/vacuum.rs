//! Room on the disk, taken from what nothing needs any more: in the store, and among the alerts.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use jiff::{SignedDuration, Timestamp};
use serde::Serialize;

use super::open::open_store;
use crate::shared::report;
use crate::shared::report::{counted, in_bytes};
use crate::workspace::{BETWEEN_STAGES_START, Workspace};
use scouting::failure::{Failure, Kind};
use store::alerts::table::issued_alerts;
use store::delta::vacuum::{Limit, Removed, Unfinished, vacuum};

/// The least age that is safe while other commands run: none of them runs so long.
const HOURS_MIN: u32 = 1;

/// What was removed, or would be.
#[derive(Debug, Serialize)]
pub(crate) struct Vacuumed {
    dry_run: bool,
    older_than_hours: u32,
    #[serde(flatten)]
    removed: Removed,
    /// What killed commands left in the workspace outside the store: files and folders.
    beside_alerts: Vec<PathBuf>,
}

/// What a vacuum may take.
#[derive(Debug, Clone, Copy)]
pub(crate) struct VacuumOptions {
    /// Age below which nothing is touched.
    pub(crate) older_than_hours: u32,
    /// Whether no other command runs.
    pub(crate) alone: bool,
    /// Whether nothing is removed.
    pub(crate) dry_run: bool,
}

/// Removes what nothing needs, from the store and from the folder of alerts.
///
/// # Errors
/// A [`Failure`] if the age is not safe while other commands run, or a file cannot be removed.
pub(crate) async fn vacuum_workspace(
    workspace: &Workspace,
    options: VacuumOptions,
    now: Timestamp,
) -> Result<Vacuumed, Failure> {
    if options.older_than_hours < HOURS_MIN && !options.alone {
        return Err(Failure::new(
            Kind::Settings,
            "--older-than 0 would remove files of commands that are running",
        )
        .mend("give at least 1 hour; or add --alone, which asserts that nothing else is running"));
    }
    let store = open_store(workspace).await?;
    let age = SignedDuration::from_hours(i64::from(options.older_than_hours));
    let limit = Limit::new(now, age);
    let removed = vacuum(&store, limit, options.dry_run).await?;
    let issued = issued_alerts(&store).await?;
    let issues: BTreeSet<&str> = issued.iter().map(|alert| &*alert.issue_id).collect();
    let beside_alerts = left_beside_alerts(workspace, &issues, limit)?;
    if !options.dry_run {
        beside_alerts.iter().try_for_each(|path| remove(path))?;
    }
    Ok(Vacuumed {
        dry_run: options.dry_run,
        older_than_hours: options.older_than_hours,
        removed,
        beside_alerts,
    })
}

/// Tables between stages that a killed roll-up left.
fn between_stages(workspace: &Workspace, limit: Limit) -> Result<Vec<PathBuf>, Failure> {
    let unlisted = |error: std::io::Error| Failure::file("list", workspace.folder(), error);
    let mut left = Vec::new();
    for entry in std::fs::read_dir(workspace.folder()).map_err(unlisted)? {
        let entry = entry.map_err(unlisted)?;
        let is_between = (entry.file_name().to_string_lossy()).starts_with(BETWEEN_STAGES_START);
        if is_between && limit.passed_by_file(&entry.metadata().map_err(unlisted)?) {
            left.push(entry.path());
        }
    }
    Ok(left)
}

/// What a killed command left next to the store: tables between stages, files being written among the alerts, and
/// folders of issues that have no row.
fn left_beside_alerts(
    workspace: &Workspace,
    issues: &BTreeSet<&str>,
    limit: Limit,
) -> Result<Vec<PathBuf>, Failure> {
    let mut left = between_stages(workspace, limit)?;
    let mut folders = vec![workspace.alerts()];
    while let Some(folder) = folders.pop().filter(|folder| folder.is_dir()) {
        let unlisted = |error: std::io::Error| Failure::file("list", &folder, error);
        for entry in std::fs::read_dir(&folder).map_err(unlisted)? {
            let entry = entry.map_err(unlisted)?;
            let (path, metadata) = (entry.path(), entry.metadata().map_err(unlisted)?);
            if is_left(&path, issues) {
                left.extend(limit.passed_by_file(&metadata).then_some(path));
            } else if metadata.is_dir() {
                folders.push(path);
            }
        }
    }
    left.sort();
    Ok(left)
}

/// Whether a name is that of something being written, or of an issue that has no row: `.0001-UUID`.
fn is_left(path: &Path, issues: &BTreeSet<&str>) -> bool {
    let name = path.file_name().and_then(|name| name.to_str());
    name.and_then(|name| name.strip_prefix('.'))
        .is_some_and(|name| {
            let issue = name.split_once('-').filter(|(number, _)| {
                !number.is_empty() && number.bytes().all(|byte| byte.is_ascii_digit())
            });
            name.starts_with("being-written-")
                || issue.is_some_and(|(_, id)| id.len() == 36 && !issues.contains(id))
        })
}

fn remove(path: &Path) -> Result<(), Failure> {
    let removed = match path.is_dir() {
        true => std::fs::remove_dir_all(path),
        false => std::fs::remove_file(path),
    };
    removed.map_err(|error| Failure::file("remove", path, error))
}

impl Vacuumed {
    /// For people.
    pub(crate) fn text(&self, workspace: &Workspace) -> String {
        let files = &self.removed.files;
        let would = if self.dry_run { "would be " } else { "" };
        let loads: BTreeSet<&str> = (self.removed.unfinished.iter())
            .map(|file: &Unfinished| &*file.load_id)
            .collect();
        let rows: i64 = self.removed.unfinished.iter().map(|file| file.rows).sum();
        let mut lines = Vec::new();
        if !loads.is_empty() {
            lines.push(format!(
                "{} of {} without receipt {would}taken out of the tables",
                counted(rows.unsigned_abs(), "row", "rows"),
                counted(loads.len() as u64, "load", "loads"),
            ));
        }
        let bytes = files.iter().map(|file| file.bytes).sum();
        lines.push(format!(
            "{} with {} {would}removed",
            counted(files.len() as u64, "file", "files"),
            in_bytes(bytes)
        ));
        let beside_alerts = self.beside_alerts.iter().map(|path| {
            let within = path.strip_prefix(workspace.folder());
            format!("  {}", within.unwrap_or(path).display())
        });
        let listed = files.iter().map(|file| format!("  store/{}", file.path));
        let listed = listed.chain(beside_alerts);
        let all = listed.clone().count();
        lines.extend(listed.take(report::LISTED_MAX));
        if all > report::LISTED_MAX {
            lines.push(format!("  and {} more", all - report::LISTED_MAX));
        }
        if !self.beside_alerts.is_empty() {
            lines.push(format!(
                "{} left in the workspace by interrupted commands {would}removed",
                counted(self.beside_alerts.len() as u64, "thing", "things")
            ));
        }
        lines.join("\n")
    }
}
