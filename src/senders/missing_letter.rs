//! The letter to a sender who has not reported a week: plain text, ready to paste into an e-mail. It asks and blames
//! nobody.

use super::missing_sender::{Asked, MissingSender};
use crate::shared::shown_days::week_in_words;
use crate::workspace::contacts::addressed;
use scouting::visit::week::Weeks;

/// The letter to one of them.
pub(crate) fn missing_letter(asked: &Asked, sender: &MissingSender, weeks: &Weeks) -> String {
    let week = week_in_words(asked.week, weeks);
    let of_protocol = asked
        .protocol
        .as_deref()
        .map_or_else(String::new, |id| format!(" for {id}"));
    let mut lines = vec![
        "Hello,".to_owned(),
        String::new(),
        format!("we have no visit records{of_protocol} from you yet of the {week}."),
    ];
    if sender.held > 0 {
        lines.push("Some of your records are on hold until they are corrected; those of that week may be among them.".to_owned());
    }
    lines.extend([
        String::new(),
        "If you scouted in that week, please send the records as soon as you can: the alert counts what".to_owned(),
        "has arrived. If you sent them already, please send them again: nothing is counted twice.".to_owned(),
        "If you did not scout, a short answer is enough.".to_owned(),
        String::new(),
        "Thank you for scouting.".to_owned(),
    ]);
    addressed(sender.contact.as_ref(), &(lines.join("\n") + "\n"))
}
