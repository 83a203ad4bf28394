//! A Ballista cluster as the place where the stages run.
//!
//! The scheduler is sent the queries as plans. The executors read the Parquet files of the store's version, and
//! the tables between the stages, which are written as Parquet into a folder that every host sees under the
//! same path. Any executor of the same version of Ballista serves: the stages use stock functions only.

use std::net::ToSocketAddrs;
use std::sync::Arc;
use std::time::Duration;

use arrow::array::RecordBatch;
use arrow::datatypes::{Schema, SchemaRef};
use async_trait::async_trait;
use ballista::prelude::{SessionConfigExt, SessionContextExt};
use datafusion::datasource::file_format::parquet::ParquetFormat;
use datafusion::datasource::listing::{
    ListingOptions, ListingTable, ListingTableConfig, ListingTableUrl,
};
use datafusion::error::DataFusionError;
use datafusion::execution::SessionStateBuilder;
use datafusion::prelude::{SessionConfig, SessionContext};
use parquet::arrow::ArrowWriter;
use tempfile::TempDir;
use url::Url;

use crate::delta::snapshot::Snapshot;
use crate::stages::engine::Elsewhere;
use scouting::failure::{Cause, Failure, Kind};

/// A host that does not take a connection in this time is not there.
const CONNECT_TIME: Duration = Duration::from_secs(10);
/// The port of a scheduler, where the address names none.
const SCHEDULER_PORT: u16 = 50050;

/// A cluster that was handed a version of the store.
pub struct Cluster {
    address: String,
    session: SessionContext,
    /// Tables between the stages; gone when the roll-up is.
    between: TempDir,
    query_time: Duration,
}

impl Cluster {
    /// Joins the cluster of a scheduler, `df://host:port`, and hands it the version of the store. `between` is a
    /// folder that the executors may read under the same path; a query that takes longer than `query_time`
    /// is given up.
    ///
    /// # Errors
    /// A [`Failure`] if no scheduler answers there, or the files of the store are not on a disk.
    pub async fn join(
        address: &str,
        snapshot: &Snapshot,
        between: TempDir,
        query_time: Duration,
        partitions: usize,
    ) -> Result<Cluster, Failure> {
        reach(address)?;
        let config = SessionConfig::new_with_ballista().with_target_partitions(partitions);
        let state = SessionStateBuilder::new()
            .with_config(config)
            .with_default_features()
            .build();
        let session = SessionContext::remote_with_state(address, state)
            .await
            .map_err(|error| refused(address, error))?;
        let cluster = Cluster {
            address: address.to_owned(),
            session,
            between,
            query_time,
        };
        let (files, schema) = snapshot.visit_files()?;
        match files.is_empty() {
            true => cluster.keep("visits", schema, &[]).await?,
            false => cluster.list("visits", schema, files)?,
        }
        let receipts = snapshot.receipted_loads().await?;
        cluster
            .keep("receipts", receipts.schema(), &[receipts])
            .await?;
        Ok(cluster)
    }

    /// Names Parquet files as a table.
    fn list(&self, name: &str, schema: SchemaRef, files: Vec<Url>) -> Result<(), Failure> {
        let failed = |error: DataFusionError| refused(&self.address, error);
        let files = files
            .into_iter()
            .map(|file| ListingTableUrl::try_new(file, None));
        let files = files.collect::<Result<Vec<_>, _>>().map_err(failed)?;
        let options =
            ListingOptions::new(Arc::new(ParquetFormat::default())).with_file_extension(".parquet");
        let config = ListingTableConfig::new_with_multi_paths(files)
            .with_listing_options(options)
            .with_schema(schema);
        let table = ListingTable::try_new(config).map_err(failed)?;
        let registered = self.session.register_table(name, Arc::new(table));
        registered.map_err(failed)?;
        Ok(())
    }
}

#[async_trait]
impl Elsewhere for Cluster {
    async fn keep(
        &self,
        name: &str,
        schema: SchemaRef,
        rows: &[RecordBatch],
    ) -> Result<(), Failure> {
        let path = self.between.path().join(format!("{name}.parquet"));
        let unwritten = |error: Cause| {
            Failure::because(
                Kind::Files,
                format!("cannot write {}", path.display()),
                error,
            )
            .mend("the workspace's folder must be one that every host of the cluster sees")
        };
        let file = std::fs::File::create(&path).map_err(|error| unwritten(error.into()))?;
        let mut writer = ArrowWriter::try_new(file, schema.clone(), None)
            .map_err(|error| unwritten(error.into()))?;
        for batch in rows {
            // Batches of one query may differ in what they say of nulls; their columns are the same.
            let batch = RecordBatch::try_new(schema.clone(), batch.columns().to_vec());
            let batch = batch.map_err(|error| unwritten(error.into()))?;
            writer
                .write(&batch)
                .map_err(|error| unwritten(error.into()))?;
        }
        writer.close().map_err(|error| unwritten(error.into()))?;
        let address =
            Url::from_file_path(&path).map_err(|()| unwritten("it has no address".into()))?;
        let fields = schema.fields().clone();
        self.list(name, Arc::new(Schema::new(fields)), vec![address])
    }

    fn forget(&self, name: &str) -> Result<(), Failure> {
        let gone = self.session.deregister_table(name);
        gone.map_err(|error| refused(&self.address, error))?;
        let path = self.between.path().join(format!("{name}.parquet"));
        match std::fs::remove_file(&path) {
            // The visits are files of the store, and stay.
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                Err(Failure::file("remove", &path, error))
            }
            _ => Ok(()),
        }
    }

    async fn rows(&self, query: &str) -> Result<Vec<RecordBatch>, Failure> {
        let rows = async { self.session.sql(query).await?.collect().await };
        match tokio::time::timeout(self.query_time, rows).await {
            Ok(rows) => rows.map_err(|error| refused(&self.address, error)),
            Err(_) => Err(Failure::new(
                Kind::Stage,
                format!(
                    "the cluster at {} gave no answer in {} s",
                    self.address,
                    self.query_time.as_secs()
                ),
            )
            .mend(
                "are its executors running? run the roll-up again, or allow more with --cluster-minutes",
            )),
        }
    }
}

/// Whether a scheduler takes connections; the library would try on for minutes.
fn reach(address: &str) -> Result<(), Failure> {
    let url = Url::parse(address).ok().filter(|url| url.scheme() == "df");
    let host = url.as_ref().and_then(|url| Some((url, url.host_str()?)));
    let Some((url, host)) = host else {
        return Err(Failure::new(
            Kind::Settings,
            format!("{address} is no address of a cluster"),
        )
        .mend("write it as df://host:50050, the host and port of its scheduler"));
    };
    let port = url.port().unwrap_or(SCHEDULER_PORT);
    let unreached = |error: Cause| {
        Failure::because(
            Kind::Stage,
            format!("no scheduler answers at {address}"),
            error,
        )
        .mend("start one (see DEVELOPERS.md), or leave --cluster out to run on this machine")
    };
    let mut found = (host, port)
        .to_socket_addrs()
        .map_err(|error| unreached(error.into()))?;
    let mut last: Cause = "the host has no address".into();
    let reached =
        found.any(
            |socket| match std::net::TcpStream::connect_timeout(&socket, CONNECT_TIME) {
                Ok(_) => true,
                Err(error) => {
                    last = error.into();
                    false
                }
            },
        );
    match reached {
        true => Ok(()),
        false => Err(unreached(last)),
    }
}

fn refused(address: &str, error: DataFusionError) -> Failure {
    Failure::because(
        Kind::Stage,
        format!("the cluster at {address} could not run a stage"),
        error,
    )
    .mend("do its hosts see the workspace under this path, and run Ballista 55?")
}
