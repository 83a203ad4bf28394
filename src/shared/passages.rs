//! Passages of instructions, and the cautions of a protocol as passages: for count sheets and cards alike.

use super::cautions::{Caution, crop_and_stage, scout_safety, standing_cautions};
use super::shown_numbers::{Units, join_with_and};
use scouting::protocol::catalogue::{Decision, Protocol};

/// A passage of the instructions.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Passage {
    /// A few words.
    pub title: String,
    /// A sentence or more.
    pub text: String,
}

/// What to consider before anyone treats: the protocol's timing, then the cautions, most weighty first. Those of a
/// count that decides nothing for a field come before the standing ones.
pub(crate) fn cautions(protocol: &Protocol) -> Vec<Passage> {
    let own: Vec<Passage> = protocol
        .cautions
        .iter()
        .map(|caution| passage("For this count", one_line(&caution.text)))
        .collect();
    let timing = one_line(&protocol.timing.treat);
    let (first, last) = match protocol.decision {
        Decision::Field => (vec![passage("Treatment timing", timing)], own),
        Decision::Scout | Decision::Region => (
            [vec![passage("Not a field decision", timing)], own].concat(),
            Vec::new(),
        ),
    };
    let mut passages = first;
    passages.extend(
        standing_cautions([crop_and_stage(protocol)])
            .into_iter()
            .map(of_caution),
    );
    passages.extend(last);
    passages
}

/// What a scout minds for their own safety, for the top of whatever is taken into a field.
pub(crate) fn safety() -> Vec<Passage> {
    scout_safety().into_iter().map(of_caution).collect()
}

/// The standing cautions that a card has room for.
const ON_A_CARD: [&str; 5] = [
    "The label is the law",
    "Scout your own field",
    "Local rules and licensed advice come first",
    "Restricted-entry and pre-harvest intervals",
    "Bees and other pollinators",
];

/// The cautions for a card that has room for few, the scout's own safety aside: the timing, the protocol's own, and the most
/// weighty of the others.
pub(crate) fn cautions_in_short(protocol: &Protocol) -> Vec<Passage> {
    let standing = standing_cautions([crop_and_stage(protocol)]);
    let has_room = |passage: &Passage| {
        let mut standing = standing.iter();
        let is_standing = standing.any(|caution| caution.title == passage.title);
        !is_standing || ON_A_CARD.contains(&&*passage.title)
    };
    cautions(protocol).into_iter().filter(has_room).collect()
}

/// How many sites a large field needs, a phrase; `None` where every field needs the same.
pub(crate) fn sites_by_area(protocol: &Protocol, units: Units) -> Option<String> {
    let steps: Vec<String> = protocol
        .sample
        .sites_by_area
        .iter()
        .map(|step| format!("{} from {}", step.sites, units.whole_area(step.from_ha)))
        .collect();
    let steps = join_with_and(&steps)?;
    Some(format!("in a larger field {steps}"))
}

fn of_caution(caution: Caution) -> Passage {
    Passage {
        title: caution.title,
        text: caution.text,
    }
}

/// Which counts of the stage window are early, or late for treatment, in sentences; `None` where none is.
pub(crate) fn count_timing(protocol: &Protocol) -> Option<String> {
    let early = protocol.stages.recount_at.as_ref().map(|stage| {
        format!(
            "A count before {stage} is early and reads low, since more may come: count the same field again at {stage}."
        )
    });
    let timing = protocol.count_timing();
    let treated = protocol.treatment_stages.as_ref();
    let late = treated
        .filter(|_| timing.treated_until.is_some_and(|until| until < timing.window.1))
        .map(|stages| {
            format!(
                "A count after {} is late: it says what came, after the stages in which treatment works best.",
                stages.last
            )
        });
    let said: Vec<String> = early.into_iter().chain(late).collect();
    (!said.is_empty()).then(|| said.join(" "))
}

/// A passage of a title and a text.
pub(crate) fn passage(title: &str, text: String) -> Passage {
    Passage {
        title: title.to_owned(),
        text,
    }
}

/// A text without its line breaks: a protocol file is broken into lines, a page is not.
pub(crate) fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The text with a capital first letter.
pub(crate) fn sentence_case(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(characters).collect()
    })
}
