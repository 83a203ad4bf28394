//! The options of a command whose queries may run on a cluster.

use crate::figures::cluster::ClusterAddress;

/// Where the stages run.
#[derive(Debug, Default, clap::Args)]
pub(super) struct ClusterOptions {
    /// Run the stages on a Ballista cluster: df://HOST:PORT of its scheduler
    #[arg(long, value_name = "ADDRESS")]
    cluster: Option<String>,

    /// Cluster query timeout, in minutes
    #[arg(
        long,
        value_name = "MINUTES",
        default_value_t = 10.0,
        requires = "cluster"
    )]
    cluster_minutes: f64,
}

impl ClusterOptions {
    /// The cluster that was asked for.
    pub(super) fn asked(&self) -> Option<ClusterAddress<'_>> {
        self.cluster.as_deref().map(|address| ClusterAddress {
            address,
            minutes: self.cluster_minutes,
        })
    }
}
