//! The folders of issued alerts: the files under a name that nobody reads, until the row of their alert is there.

use std::path::{Path, PathBuf};

use crate::alert::issue::facts::folder_name;
use crate::workspace::Workspace;
use scouting::failure::Failure;
use store::alerts::issued_alert::IssuedAlert;

/// Where the files are until their row is there; readers pass over a name that begins with a dot.
pub(super) fn staged_folder(workspace: &Workspace, alert: &IssuedAlert) -> PathBuf {
    let name = format!(".{}-{}", folder_name(alert.number), alert.issue_id);
    workspace.issued().join(name)
}

/// Gives each issued alert's folder its number, where a kill came between the row and the name.
pub(crate) fn settle(workspace: &Workspace, issued: &[IssuedAlert]) -> Result<(), Failure> {
    for alert in issued {
        let staged = staged_folder(workspace, alert);
        let folder = workspace.issued().join(folder_name(alert.number));
        if !staged.is_dir() {
            continue;
        }
        match std::fs::rename(&staged, &folder) {
            Ok(()) => {}
            // Somebody else was quicker.
            Err(_) if folder.is_dir() && !staged.is_dir() => {}
            Err(error) => return Err(Failure::file("give its number to", &staged, error)),
        }
    }
    Ok(())
}

/// Removes the folder of an alert that was not issued.
pub(super) fn remove(folder: &Path) {
    if let Err(error) = std::fs::remove_dir_all(folder) {
        tracing::warn!(%error, folder = %folder.display(), "could not remove what was not issued");
    }
}
