//! A host of a Ballista cluster for the tests: a scheduler or an executor, each a process of its own. Both are the
//! library's own, with its own functions; nothing of this project is in them.

use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;

use ballista_executor::executor_process::{ExecutorProcessConfig, start_executor_process};
use ballista_scheduler::cluster::BallistaCluster;
use ballista_scheduler::config::SchedulerConfig;
use ballista_scheduler::scheduler_process::start_server;

type Ended = Result<(), Box<dyn std::error::Error>>;

#[tokio::main]
async fn main() -> Ended {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match arguments[..] {
        ["scheduler", port] => scheduler(port.parse()?).await,
        ["executor", scheduler, port, other_port, folder] => {
            executor(
                scheduler.parse()?,
                port.parse()?,
                other_port.parse()?,
                folder,
            )
            .await
        }
        _ => Err("cluster_node scheduler PORT | executor SCHEDULER_PORT PORT PORT DIR".into()),
    }
}

/// The address of this machine to itself.
fn here() -> String {
    Ipv4Addr::LOCALHOST.to_string()
}

async fn scheduler(port: u16) -> Ended {
    let config = SchedulerConfig {
        bind_host: here(),
        external_host: here(),
        bind_port: port,
        // A host that is gone is reported within a test's time.
        executor_timeout_seconds: 6,
        expire_dead_executor_interval_seconds: 1,
        no_executors_grace_period_seconds: 4,
        ..SchedulerConfig::default()
    };
    let cluster = BallistaCluster::new_from_config(&config).await?;
    let address = SocketAddr::from((Ipv4Addr::LOCALHOST, port));
    start_server(cluster, address, Arc::new(config)).await?;
    Ok(())
}

async fn executor(scheduler: u16, port: u16, other_port: u16, folder: &str) -> Ended {
    let config = ExecutorProcessConfig {
        bind_host: here(),
        external_host: Some(here()),
        scheduler_host: here(),
        scheduler_port: scheduler,
        port,
        grpc_port: other_port,
        vcores: 1,
        work_dir: Some(folder.to_owned()),
        executor_heartbeat_interval_seconds: 1,
        ..ExecutorProcessConfig::default()
    };
    start_executor_process(Arc::new(config)).await?;
    Ok(())
}
