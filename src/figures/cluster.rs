//! A cluster that runs the stages of a roll-up in place of this process.

use crate::workspace::Workspace;
use scouting::failure::{Failure, Kind};
use store::delta::snapshot::Snapshot;
use store::stages::engine::Elsewhere;

/// Where a cluster is, and how long to wait for it.
#[derive(Debug, Clone, Copy)]
#[cfg_attr(
    not(feature = "cluster"),
    expect(dead_code, reason = "refused unread without clusters")
)]
pub(crate) struct ClusterAddress<'a> {
    /// `df://HOST:PORT` of its scheduler.
    pub(crate) address: &'a str,
    /// Minutes after which a query is given up.
    pub(crate) minutes: f64,
}

/// The cluster that was asked for, with a version of the store.
#[cfg(feature = "cluster")]
pub(crate) async fn join(
    asked: Option<&ClusterAddress<'_>>,
    workspace: &Workspace,
    snapshot: &Snapshot,
) -> Result<Option<Box<dyn Elsewhere>>, Failure> {
    use store::stages::cluster::Cluster;

    let Some(ClusterAddress { address, minutes }) = asked else {
        return Ok(None);
    };
    let time = std::time::Duration::try_from_secs_f64(*minutes * 60.0)
        .ok()
        .filter(|time| !time.is_zero())
        .ok_or_else(|| {
            Failure::new(
                Kind::Settings,
                format!("--cluster-minutes {minutes} is not a positive time"),
            )
            .mend("give a number of minutes above 0")
        })?;
    let between = workspace.between_stages()?;
    let cluster = Cluster::join(
        address,
        snapshot,
        between,
        time,
        crate::workspace::open::workers(),
    )
    .await?;
    Ok(Some(Box::new(cluster)))
}

/// A refusal, where a cluster was asked for: this program was built without.
#[cfg(not(feature = "cluster"))]
pub(crate) async fn join(
    asked: Option<&ClusterAddress<'_>>,
    _: &Workspace,
    _: &Snapshot,
) -> Result<Option<Box<dyn Elsewhere>>, Failure> {
    match asked {
        None => Ok(None),
        Some(_) => Err(
            Failure::new(Kind::Settings, "this bractline was built without clusters")
                .mend("build it with: cargo build --release --features cluster"),
        ),
    }
}
