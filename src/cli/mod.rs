//! The door: what a person types, and one thin file a command.
//!
//! Only this module reads the clock, the environment and the terminal.

mod alert;
mod check;
mod cluster;
mod demo;
mod export;
mod held;
mod init;
mod load;
mod plan;
mod protocols;
mod publish;
mod rollup;
mod senders;
mod sheet;
mod sql;
mod store;
mod submissions;
mod tables;
mod terminal;
mod trend;
mod visit;
mod who;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Parser, Subcommand};
use terminal::format::Outcome;

use crate::workspace::{SETTINGS_FILE, Workspace};
use scouting::failure::{Failure, Kind};

/// Field scouts' visit records → a weekly regional pest alert.
#[derive(Debug, Parser)]
#[command(version, about, long_about = None, propagate_version = true, disable_help_subcommand = true)]
#[command(
    after_help = "Begin with:\n  bractline demo             an invented region, loaded, rolled up, with its alert\n  bractline init DIR --region us:46\n  bractline --workspace DIR load submissions/"
)]
struct Arguments {
    /// Folder of the workspace
    #[arg(long, global = true, value_name = "DIR", default_value = ".")]
    workspace: PathBuf,

    /// Log more to stderr (-vv for debug messages)
    #[arg(short, long, global = true, action = clap::ArgAction::Count)]
    verbose: u8,

    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Demo(demo::Demo),
    Init(init::Init),
    Check(check::Check),
    Load(load::Load),
    #[command(subcommand)]
    Held(held::Held),
    #[command(subcommand)]
    Submissions(submissions::Submissions),
    #[command(subcommand)]
    Senders(senders::Senders),
    #[command(subcommand)]
    Visit(visit::Visit),
    Rollup(rollup::RollupCommand),
    Alert(alert::Alert),
    Trend(trend::Trend),
    Export(export::Export),
    Publish(publish::Publish),
    Sheet(sheet::Sheet),
    #[command(subcommand)]
    Plan(plan::Plan),
    #[command(subcommand)]
    Protocols(protocols::Protocols),
    Sql(sql::Sql),
    #[command(subcommand)]
    Store(store::StoreCommand),
}

/// Stack of a thread that computes, as much as the first thread has: the engine meets the expression of a protocol by
/// recursion, and a usual stack of 2 MiB is near what its longest takes.
const STACK_BYTES: usize = 8 << 20;

/// Runs the program: arguments → command → exit code.
pub fn run() -> ExitCode {
    terminal::panics::report_those_that_are_news();
    let arguments = Arguments::parse();
    let verbose = arguments.verbose;
    log_to_stderr(verbose);
    let outcome = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .thread_stack_size(STACK_BYTES)
        .build()
        .map_err(|error| Failure::because(Kind::Files, "cannot start", error))
        .and_then(|runtime| runtime.block_on(perform(arguments)));
    match outcome {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::DoneWithHeld) => ExitCode::from(3),
        Err(failure) if failure.kind() == Kind::ClosedPipe => ExitCode::SUCCESS,
        Err(failure) => {
            terminal::failed::say(&failure, verbose > 0);
            ExitCode::FAILURE
        }
    }
}

async fn perform(arguments: Arguments) -> Result<Outcome, Failure> {
    let folder = &arguments.workspace;
    match arguments.command {
        Command::Demo(command) => command.run().await,
        Command::Init(command) => command.run().await,
        // A draft goes into a file: no lack of a workspace may leave that empty.
        Command::Check(command) if command.only_suggests() => command.suggest(),
        Command::Check(command) => command.run(&Workspace::open(folder)?).await,
        Command::Load(command) => command.run(&Workspace::open(folder)?).await,
        Command::Held(command) => command.run(&Workspace::open(folder)?).await,
        Command::Senders(command) => command.run(&Workspace::open(folder)?).await,
        Command::Submissions(command) => command.run(&Workspace::open(folder)?).await,
        Command::Visit(command) => command.run(&Workspace::open(folder)?).await,
        Command::Rollup(command) => command.run(&Workspace::open(folder)?).await,
        Command::Alert(command) => command.run(&Workspace::open(folder)?).await,
        Command::Trend(command) => command.run(&Workspace::open(folder)?).await,
        Command::Export(command) => command.run(&Workspace::open(folder)?).await,
        Command::Publish(command) => command.run(&Workspace::open(folder)?).await,
        Command::Sheet(command) => command.run(workspace_if_any(folder)?.as_ref()).await,
        Command::Plan(command) => command.run(workspace_if_any(folder)?.as_ref()).await,
        // The catalog can be read before there is a workspace.
        Command::Protocols(command) => command.run(workspace_if_any(folder)?.as_ref()),
        Command::Sql(command) => command.run(&Workspace::open(folder)?).await,
        Command::Store(command) => command.run(&Workspace::open(folder)?).await,
    }
}

/// The workspace of a folder; none if it is not one, a failure if its settings are wrong.
fn workspace_if_any(folder: &Path) -> Result<Option<Workspace>, Failure> {
    folder
        .join(SETTINGS_FILE)
        .exists()
        .then(|| Workspace::open(folder))
        .transpose()
}

fn log_to_stderr(verbose: u8) {
    let level = match verbose {
        0 => "error",
        1 => "warn,bractline=info,intake=info,store=info",
        _ => "info,bractline=debug,intake=debug,store=debug",
    };
    // The table library logs a lost race as an error; here it is an everyday retry.
    let level = format!("{level},deltalake_core::kernel::transaction=off");
    let filter = tracing_subscriber::EnvFilter::new(level);
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(crate::shared::report::stderr_has_color())
        .init();
}
