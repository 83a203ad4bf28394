//! A workspace with an issued alert, and `publish` to a place.

use std::path::Path;

use crate::support::issuing::loaded;
use crate::support::{Run, TestWorkspace, text_of};

pub fn publish(workspace: &TestWorkspace, to: &Path) -> Run {
    workspace.run(&["publish", "--to", &text_of(to), "--format", "json"])
}

/// A workspace with two issued alerts and a correction.
pub fn issued() -> TestWorkspace {
    let (workspace, _) = loaded();
    for week in ["2026-W29", "2026-W30"] {
        workspace
            .run(&["alert", "--week", week, "--issue"])
            .expect_code(0);
    }
    workspace.run(&["alert", "--reissue", "1"]).expect_code(0);
    workspace
}
