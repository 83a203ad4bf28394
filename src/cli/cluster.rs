//! The options of a command whose queries may run on a cluster.

use crate::failure::{Failure, Kind};
use crate::rollup::engine::Elsewhere;
use crate::store::snapshot::Snapshot;
use crate::workspace::Workspace;

/// Where the stages run.
#[derive(Debug, Default, clap::Args)]
pub(super) struct ClusterOptions {
    /// Run the stages on a Ballista cluster: df://HOST:PORT of its scheduler
    #[arg(long, value_name = "ADDRESS")]
    cluster: Option<String>,

    /// Minutes after which a query on the cluster is given up
    #[arg(
        long,
        value_name = "MINUTES",
        default_value_t = 10.0,
        requires = "cluster"
    )]
    cluster_minutes: f64,
}

impl ClusterOptions {
    /// The cluster that was asked for, with a version of the store.
    #[cfg(feature = "cluster")]
    pub(super) async fn join(
        &self,
        workspace: &Workspace,
        snapshot: &Snapshot,
    ) -> Result<Option<Box<dyn Elsewhere>>, Failure> {
        use crate::rollup::cluster::Cluster;

        let Some(address) = &self.cluster else {
            return Ok(None);
        };
        let minutes = self.cluster_minutes;
        let time = std::time::Duration::try_from_secs_f64(minutes * 60.0)
            .ok()
            .filter(|time| !time.is_zero())
            .ok_or_else(|| {
                Failure::new(
                    Kind::Settings,
                    format!("--cluster-minutes {minutes} is no time"),
                )
                .mend("name minutes above 0")
            })?;
        let between = workspace.between_stages()?;
        let cluster = Cluster::join(address, snapshot, between, time, super::workers()).await?;
        Ok(Some(Box::new(cluster)))
    }

    /// A refusal, where a cluster was asked for: this program was built without.
    #[cfg(not(feature = "cluster"))]
    pub(super) async fn join(
        &self,
        _: &Workspace,
        _: &Snapshot,
    ) -> Result<Option<Box<dyn Elsewhere>>, Failure> {
        match self.cluster {
            None => Ok(None),
            Some(_) => Err(Failure::new(
                Kind::Settings,
                "this bractline was built without clusters",
            )
            .mend("build it with: cargo build --release --features cluster")),
        }
    }
}
