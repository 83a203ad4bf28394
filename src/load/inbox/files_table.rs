//! The files of a run that were not loaded, and the table that names every file with what became of it.

use serde::Serialize;

use crate::shared::report::grouped;
use crate::shared::unseen::plain_text;
use scouting::failure::Failure;
use store::rows::receipt::Counts;

/// A file that could not be loaded.
#[derive(Debug, Serialize)]
pub(crate) struct RefusedFile {
    file_name: String,
    /// Why.
    reason: String,
    #[serde(rename = "where")]
    place: Option<String>,
    /// What would help.
    help: Option<String>,
    #[serde(skip)]
    failure: Failure,
}

impl RefusedFile {
    /// A file and the failure that refused it.
    pub(crate) fn new(file_name: &str, failure: &Failure) -> RefusedFile {
        let owned = |text: Option<&str>| text.map(str::to_owned);
        RefusedFile {
            file_name: file_name.to_owned(),
            reason: failure.what().to_owned(),
            place: owned(failure.place()),
            help: owned(failure.help()),
            failure: failure.clone(),
        }
    }

    /// The failure that refused it.
    pub(crate) fn failure(&self) -> Failure {
        self.failure.clone()
    }

    /// The file with its reason, for people.
    pub(crate) fn lines(&self) -> Vec<String> {
        let mut lines = vec![format!(
            "refused {}: {}",
            plain_text(&self.file_name),
            plain_text(&self.reason)
        )];
        let further = [("where", &self.place), ("help", &self.help)];
        lines.extend(further.into_iter().filter_map(|(title, text)| {
            let text = text.as_deref()?;
            Some(format!("  {title}: {}", plain_text(text)))
        }));
        lines
    }
}

/// A file that holds no records.
#[derive(Debug, Serialize)]
pub(crate) struct PassedOverFile {
    file_name: String,
    reason: String,
}

impl PassedOverFile {
    /// A file and what it is.
    pub(crate) fn new(file_name: &str, what: &str) -> PassedOverFile {
        PassedOverFile {
            file_name: file_name.to_owned(),
            reason: what.to_owned(),
        }
    }
}

const COLUMNS: [&str; 4] = ["received", "accepted", "duplicate", "held"];

/// A line for each file: loaded with its numbers, then refused, then passed over.
pub(crate) fn files_table(
    loaded: &[(&str, &Counts)],
    refused: &[RefusedFile],
    passed_over: &[PassedOverFile],
) -> Vec<String> {
    let mut rows: Vec<(String, String)> =
        vec![("file".to_owned(), numbers(COLUMNS.map(str::to_owned)))];
    rows.extend(loaded.iter().map(|(name, counts)| {
        let of_file = [
            counts.received,
            counts.accepted,
            counts.duplicate,
            counts.held,
        ];
        (plain_text(name), numbers(of_file.map(grouped)))
    }));
    rows.extend(
        refused
            .iter()
            .map(|file| (plain_text(&file.file_name), "refused".to_owned())),
    );
    rows.extend(passed_over.iter().map(|file| {
        let what = format!("passed over: {}", file.reason);
        (plain_text(&file.file_name), what)
    }));
    let width = rows.iter().map(|(name, _)| name.chars().count()).max();
    let width = width.unwrap_or_default();
    rows.into_iter()
        .map(|(name, what)| format!("{name:width$}  {what}"))
        .collect()
}

fn numbers(texts: [String; 4]) -> String {
    let cells: Vec<String> = texts
        .iter()
        .zip(COLUMNS)
        .map(|(text, title)| format!("{text:>0$}", title.len()))
        .collect();
    cells.join("  ")
}

#[cfg(test)]
mod tests {
    use scouting::failure::Kind;

    use super::*;

    #[test]
    fn every_file_has_a_line() {
        let counts = Counts {
            received: 1_234,
            accepted: 1_230,
            duplicate: 1,
            held: 3,
            ..Counts::default()
        };
        let failure = Failure::new(Kind::Submission, "cannot load b.pdf").mend("send a sheet");
        let refused = RefusedFile::new("b.pdf", &failure);
        assert_eq!(
            refused.lines(),
            ["refused b.pdf: cannot load b.pdf", "  help: send a sheet"]
        );
        let table = files_table(
            &[("north/a.csv", &counts)],
            &[refused],
            &[PassedOverFile::new("c\n.jpg", "a picture")],
        );
        assert_eq!(
            table,
            [
                "file         received  accepted  duplicate  held",
                "north/a.csv     1,234     1,230          1     3",
                "b.pdf        refused",
                "c.jpg        passed over: a picture",
            ]
        );
    }
}
