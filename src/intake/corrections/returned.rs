//! What a record that comes back corrected says of itself besides its values: of which held record it is, and how many units
//! it has. Only the store knows what was sent out, so `load/returned.rs` compares the two.

use scouting::visit::finding::Finding;

use crate::corrections::units::Units;

/// A record that came back.
#[derive(Debug, Clone, Default)]
pub struct Returned {
    /// Where the held record was, as the sheet says it.
    pub clues: Clues,
    /// What came back in rows; `None` of a record that came back as JSON.
    pub rows: Option<ReturnedUnits>,
    /// Whether its identity is still to be made by the recipe of the held record, which the sheet has lost.
    pub lacks_recipe: bool,
    /// What is wrong with it, whatever its values are.
    pub findings: Vec<Finding>,
}

/// What the columns of ours say of where a held record was; each is empty where the sheet has lost it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Clues {
    /// The file that it came in.
    pub file: String,
    /// The rows or the line there.
    pub place: String,
    /// What was sent.
    pub as_sent: String,
}

/// The units that came back.
#[derive(Debug, Clone, Default)]
pub struct ReturnedUnits {
    /// Rows that hold counts.
    pub units: Units,
    /// The number in the column `held_units`, or what cannot be read there; `None` where it is blank or lost.
    pub stated: Option<Result<u64, String>>,
    /// The cell of that number; the first row where the column is lost.
    pub stated_at: String,
    /// The rows, in words.
    pub place: String,
    /// Columns for the counts of a head.
    pub bracts: usize,
}

impl Clues {
    /// Whether they are those of this held record. A long text is cut to a cell where it goes out.
    pub fn fit(&self, held: &Clues) -> bool {
        let is = |said: &str, known: &str| {
            let said = said.replace("\r\n", "\n");
            let begins = said
                .strip_suffix('…')
                .is_some_and(|start| known.starts_with(start));
            !said.is_empty() && (said.trim() == known.trim() || begins)
        };
        let place = is(&self.file, &held.file) && is(&self.place, &held.place);
        place || is(&self.as_sent, &held.as_sent)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clues(file: &str, place: &str, as_sent: &str) -> Clues {
        Clues {
            file: file.to_owned(),
            place: place.to_owned(),
            as_sent: as_sent.to_owned(),
        }
    }

    #[test]
    fn a_held_record_is_known_by_its_place_or_by_what_was_sent() {
        let held = clues("a.csv", "row 5", "row 5: Field = F-1\nrow 6: 3");
        for said in [
            clues("a.csv", "row 5", ""),
            clues("", "", "row 5: Field = F-1\r\nrow 6: 3"),
            clues("", "", "row 5: Fie…"),
        ] {
            assert!(said.fit(&held), "{said:?}");
        }
        for said in [
            clues("a.csv", "", ""),
            clues("b.csv", "row 5", "row 5"),
            Clues::default(),
        ] {
            assert!(!said.fit(&held), "{said:?}");
        }
    }
}
