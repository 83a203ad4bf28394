//! `bractline held drop` and `held restore`: records that are not wanted, and the way back.

use jiff::Timestamp;
use serde::Serialize;

use crate::cli::terminal::confirm::{NOTHING_CHANGED, confirmed};
use crate::cli::terminal::format::{Format, Outcome};
use crate::cli::who::Deciding;
use crate::held::desk::decided_text;
use crate::shared::report;
use scouting::failure::Failure;
use scouting::visit::held_id::HeldId;
use store::delta::tables::Store;
use store::ledger::drop::{Decision, Which, drop_held, restore_held, to_be_dropped};
use store::ledger::held::HeldEntry;

#[derive(Debug, clap::Args)]
pub(crate) struct HeldDrop {
    #[command(flatten)]
    deciding: Deciding,

    #[command(flatten)]
    which: Chosen,

    /// Drop them; without it the records are shown, and on a terminal you are asked
    #[arg(long)]
    yes: bool,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

#[derive(Debug, clap::Args)]
#[group(required = true, multiple = false)]
struct Chosen {
    /// These records, by their ids (`held list --all`)
    #[arg(long = "id", value_name = "HELD_ID", num_args = 1..)]
    ids: Vec<HeldId>,

    /// Every held record from files of this name
    #[arg(long, value_name = "NAME")]
    file: Option<String>,

    /// Every held record that goes back to this sender (`held list`)
    #[arg(long, value_name = "ID")]
    sender: Option<String>,
}

#[derive(Debug, clap::Args)]
pub(crate) struct HeldRestore {
    /// Ids of dropped records
    #[arg(required = true, value_name = "HELD_ID")]
    ids: Vec<HeldId>,

    #[command(flatten)]
    deciding: Deciding,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// What a drop would close.
#[derive(Debug, Serialize)]
struct Preview<'a> {
    would_drop: &'a [HeldEntry],
}

impl HeldDrop {
    pub(in crate::cli) async fn run(self, store: &Store) -> Result<Outcome, Failure> {
        let which = match (self.which.file, self.which.sender) {
            (Some(name), _) => Which::File(name),
            (None, Some(sender)) => Which::Sender(sender),
            (None, None) => Which::Ids(self.which.ids),
        };
        let who = self.deciding.who();
        let decision = Decision {
            reason: &self.deciding.reason,
            who: &who,
            at: Timestamp::now(),
        };
        if !self.yes {
            let would_drop = to_be_dropped(store, &which).await?;
            let preview = Preview {
                would_drop: &would_drop,
            };
            let text = || decided_text("would drop", &would_drop, decision);
            self.format.say(&preview, text)?;
            if !confirmed("Drop them?")? {
                report::note(NOTHING_CHANGED);
                return Ok(Outcome::Done);
            }
        }
        let dropped = drop_held(store, &which, decision).await?;
        self.format
            .say(&dropped, || decided_text("dropped", &dropped, decision))
    }
}

impl HeldRestore {
    pub(in crate::cli) async fn run(self, store: &Store) -> Result<Outcome, Failure> {
        let who = self.deciding.who();
        let decision = Decision {
            reason: &self.deciding.reason,
            who: &who,
            at: Timestamp::now(),
        };
        let restored = restore_held(store, &self.ids, decision).await?;
        self.format
            .say(&restored, || decided_text("restored", &restored, decision))
    }
}
