//! Publishes the issued alerts: all is judged, then the files go to the public place.

use super::banner::without_banner;
use super::judged::judged;
use super::place::{Place, Put};
use crate::shared::report::counted;
use crate::workspace::Workspace;
use crate::workspace::bucket;
use scouting::failure::Failure;

/// What was published just now.
pub(crate) struct Publication {
    to: String,
    alerts: usize,
    written: Vec<String>,
    removed: Vec<String>,
    unchanged: usize,
}

impl Publication {
    /// For programs.
    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::json!({
            "to": self.to,
            "alerts": self.alerts,
            "written": self.written,
            "removed": self.removed,
            "unchanged": self.unchanged,
        })
    }

    /// For people.
    pub(crate) fn text(&self) -> String {
        format!(
            "published {} to {}: {} written, {} there already{}",
            counted(self.alerts as u64, "alert", "alerts"),
            self.to,
            counted(self.written.len() as u64, "file", "files"),
            self.unchanged,
            match self.removed.len() {
                0 => String::new(),
                some => format!(
                    ", {} of withdrawn alerts removed",
                    counted(some as u64, "file", "files")
                ),
            }
        )
    }
}

/// Publishes the issued alerts to a place.
///
/// # Errors
/// A [`Failure`] if the gate stops a file, or the place cannot be written.
pub(crate) async fn publish(workspace: &Workspace, to: &str) -> Result<Publication, Failure> {
    // All is judged before the first file is written.
    let judged = judged(workspace).await?;
    let place = Place::open(to, bucket::options()?)?;
    let files = judged
        .frozen
        .iter()
        .chain(&judged.pages)
        .chain(&judged.renewed);
    let names = files.map(|(name, _)| name.as_str());
    place.check_ways(names.chain(judged.removed.iter().map(String::as_str)))?;
    let mut written = Vec::new();
    let mut unchanged = 0;
    let mut note = |name: String, put: Put| match put {
        Put::Written => written.push(name),
        Put::Unchanged => unchanged += 1,
    };
    for (name, bytes) in judged.frozen {
        let put = place.put_frozen(&name, bytes).await?;
        note(name, put);
    }
    for (name, bytes) in judged.pages {
        let put = place.put_frozen_but(&name, bytes, without_banner).await?;
        note(name, put);
    }
    for (name, bytes) in judged.renewed {
        let put = place.put_renewed(&name, bytes).await?;
        note(name, put);
    }
    let mut removed = Vec::new();
    for name in judged.removed {
        if place.remove(&name).await? {
            removed.push(name);
        }
    }
    Ok(Publication {
        to: to.to_owned(),
        alerts: judged.alerts,
        written,
        removed,
        unchanged,
    })
}
