//! A sender who has not reported, and the question of which week and protocol.

use serde::Serialize;

use crate::workspace::contacts::Contact;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Catalogue;
use scouting::visit::week::IsoWeek;
use store::ledger::held::Sender;

/// What is asked: who has not reported this week, under this protocol or under any.
#[derive(Debug, Clone)]
pub(crate) struct Asked {
    pub(crate) week: IsoWeek,
    pub(crate) protocol: Option<String>,
}

impl Asked {
    /// The question, if there is such a protocol.
    ///
    /// # Errors
    /// If the catalogue has none of that id.
    pub(crate) fn of(
        week: IsoWeek,
        protocol: Option<String>,
        catalogue: &Catalogue,
    ) -> Result<Asked, Failure> {
        match protocol
            .as_deref()
            .filter(|id| catalogue.protocol(id).is_none())
        {
            Some(other) => Err(Failure::new(
                Kind::Settings,
                format!("no protocol has the id {other:?}"),
            )
            .mend(format!("the protocols are {}", catalogue.ids()))),
            None => Ok(Asked { week, protocol }),
        }
    }
}

/// A sender who has not reported.
#[derive(Debug, Serialize)]
pub(crate) struct MissingSender {
    #[serde(flatten)]
    pub(crate) sender: Sender,
    /// The last week before that it reported; `None` if it is in the contact list alone.
    pub(crate) last_week: Option<String>,
    /// Its records on hold, which may be of this week.
    pub(crate) held: usize,
    #[serde(skip)]
    pub(crate) contact: Option<Contact>,
}
