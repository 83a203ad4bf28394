//! The contact list of an office: `contacts.csv` in the workspace, with the names and addresses of senders.
//!
//! It is private, so a file that others can read is refused. It may be absent; then letters have no address.

use std::collections::BTreeMap;
use std::path::Path;

use super::Workspace;
use scouting::failure::{Failure, Kind};
use scouting::plain_file::{SETTINGS_BYTES_MAX, read_plain_text};
use scouting::visit::words::on_one_line;

/// Name of the file within the workspace.
const CONTACTS_FILE: &str = "contacts.csv";
/// Its columns; all but the first may be left out.
const COLUMNS: [&str; 4] = ["sender", "name", "email", "protocols"];

/// One sender of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Contact {
    /// The name under which submissions come: that of `load --sender`, a mapping or a folder.
    pub(crate) sender: String,
    /// How to address the person or the office.
    pub(crate) name: Option<String>,
    pub(crate) email: Option<String>,
    /// Protocols that are expected from there; none means every one.
    protocols: Vec<String>,
}

impl Contact {
    /// Whether visits of this protocol are expected from there.
    pub(crate) fn is_asked_for(&self, protocol: &str) -> bool {
        self.protocols.is_empty() || self.protocols.iter().any(|known| known == protocol)
    }
}

/// The list, by sender.
#[derive(Debug, Default)]
pub(crate) struct Contacts {
    by_sender: BTreeMap<String, Contact>,
}

impl Contacts {
    /// Reads the list of a workspace; without a file it is empty.
    ///
    /// # Errors
    /// A [`Failure`] that names line and column, or if others than its owner can read the file.
    pub(crate) fn read(workspace: &Workspace) -> Result<Contacts, Failure> {
        let place = workspace.folder().join(CONTACTS_FILE);
        if !place.exists() {
            return Ok(Contacts::default());
        }
        refuse_if_others_read(&place)?;
        let text = read_plain_text(&place, SETTINGS_BYTES_MAX)?;
        Contacts::parsed(&text).map_err(|mistake| {
            let failure = Failure::new(
                Kind::Settings,
                format!("cannot use the contact list: {}", mistake.what),
            );
            failure
                .at(format!(
                    "{}, line {}{}",
                    place.display(),
                    mistake.line,
                    mistake.column
                ))
                .mend(mistake.help)
        })
    }

    /// The contact of a sender.
    pub(crate) fn of(&self, sender: &str) -> Option<&Contact> {
        self.by_sender.get(sender)
    }

    /// All contacts, by sender.
    pub(crate) fn all(&self) -> impl Iterator<Item = &Contact> {
        self.by_sender.values()
    }

    fn parsed(text: &str) -> Result<Contacts, Mistake> {
        let text = text.trim_start_matches('\u{feff}');
        let header = text.lines().next().unwrap_or_default();
        // Spreadsheets of some countries write semicolons.
        let delimiter = match header.contains(';') && !header.contains(',') {
            true => b';',
            false => b',',
        };
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(delimiter)
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let header = reader.headers().map_err(|error| no_csv(&error))?.clone();
        let columns = columns_of(&header)?;
        let mut contacts = Contacts::default();
        for record in reader.into_records() {
            let record = record.map_err(|error| no_csv(&error))?;
            let line = record.position().map_or(1, csv::Position::line);
            if record.iter().all(str::is_empty) {
                continue;
            }
            let contact = contact_of(&record, &columns, line)?;
            let sender = contact.sender.clone();
            if contacts.by_sender.insert(sender.clone(), contact).is_some() {
                return Err(Mistake::new(
                    line,
                    "sender",
                    format!("{sender:?} is there twice"),
                    "keep one line a sender",
                ));
            }
        }
        Ok(contacts)
    }
}

/// A letter, to the person of a contact where there is one.
pub(crate) fn addressed(contact: Option<&Contact>, letter: &str) -> String {
    let Some(contact) = contact else {
        return letter.to_owned();
    };
    let name = contact.name.as_deref().map(on_one_line);
    let to = match (&name, &contact.email) {
        (Some(name), Some(email)) => format!("To: {name} <{email}>\n\n"),
        (None, Some(email)) => format!("To: {email}\n\n"),
        (Some(name), None) => format!("To: {name}\n\n"),
        (None, None) => String::new(),
    };
    let letter = match &name {
        Some(name) => letter.replacen("Hello,", &format!("Hello {name},"), 1),
        None => letter.to_owned(),
    };
    to + &letter
}

/// What is wrong with the list, and where.
#[derive(Debug)]
struct Mistake {
    line: u64,
    /// `, column email`, or nothing.
    column: String,
    what: String,
    help: String,
}

impl Mistake {
    fn new(line: u64, column: &str, what: String, help: &str) -> Mistake {
        Mistake {
            line,
            column: format!(", column {column}"),
            what,
            help: help.to_owned(),
        }
    }
}

fn no_csv(error: &csv::Error) -> Mistake {
    Mistake {
        line: error.position().map_or(1, csv::Position::line),
        column: String::new(),
        what: "a line has more or fewer cells than the first, or is not UTF-8 text".to_owned(),
        help: "write one line a sender, with a comma between its cells; text with a comma in it goes between quotation marks".to_owned(),
    }
}

/// The places of the columns, in the order of [`COLUMNS`].
fn columns_of(header: &csv::StringRecord) -> Result<[Option<usize>; 4], Mistake> {
    let known = format!("the columns are {}", COLUMNS.join(", "));
    if let Some(other) = header.iter().find(|name| !COLUMNS.contains(name)) {
        return Err(Mistake::new(
            1,
            other,
            format!("{other:?} is no column of it"),
            &known,
        ));
    }
    let columns = COLUMNS.map(|name| header.iter().position(|found| found == name));
    if columns[0].is_none() {
        return Err(Mistake::new(
            1,
            "sender",
            "the column is missing".to_owned(),
            &known,
        ));
    }
    if let Some(twice) = COLUMNS
        .iter()
        .find(|name| header.iter().filter(|found| found == *name).count() > 1)
    {
        return Err(Mistake::new(
            1,
            twice,
            "the column is there twice".to_owned(),
            &known,
        ));
    }
    Ok(columns)
}

fn contact_of(
    record: &csv::StringRecord,
    columns: &[Option<usize>; 4],
    line: u64,
) -> Result<Contact, Mistake> {
    let cell = |place: usize| -> Result<Option<String>, Mistake> {
        let text = columns[place]
            .and_then(|column| record.get(column))
            .unwrap_or_default();
        match text.chars().any(char::is_control) {
            true => Err(Mistake::new(
                line,
                COLUMNS[place],
                format!("found {text:?}"),
                "write it on one line",
            )),
            false => Ok((!text.is_empty()).then(|| text.to_owned())),
        }
    };
    let Some(sender) = cell(0)? else {
        return Err(Mistake::new(
            line,
            "sender",
            "the cell is blank".to_owned(),
            "write the name under which the submissions come",
        ));
    };
    let email = cell(2)?;
    if let Some(wrong) = email.as_deref().filter(|email| !is_address(email)) {
        return Err(Mistake::new(
            line,
            "email",
            format!("found {wrong:?}"),
            "write one address, as name@example.org",
        ));
    }
    let protocols = cell(3)?.unwrap_or_default();
    Ok(Contact {
        sender,
        name: cell(1)?,
        email,
        protocols: protocols
            .split([' ', ';', ','])
            .filter(|id| !id.is_empty())
            .map(str::to_owned)
            .collect(),
    })
}

fn is_address(text: &str) -> bool {
    let parts: Vec<&str> = text.split('@').collect();
    let is_part = |part: &str| !part.is_empty() && !part.contains([' ', '<', '>', ',', ';']);
    parts.len() == 2 && parts.iter().copied().all(is_part)
}

/// Refuses a file that others than its owner can read.
#[cfg(unix)]
fn refuse_if_others_read(path: &Path) -> Result<(), Failure> {
    use std::os::unix::fs::PermissionsExt;
    let metadata = path
        .metadata()
        .map_err(|error| Failure::file("read", path, error))?;
    if metadata.permissions().mode() & 0o077 == 0 {
        return Ok(());
    }
    let shown = path.display();
    Err(Failure::new(
        Kind::Settings,
        format!("cannot use {shown}: others than its owner can open it"),
    )
    .at(format!(
        "mode {:03o}, where 600 would be right",
        metadata.permissions().mode() & 0o777
    ))
    .mend(format!(
        "names and addresses are private: chmod 600 {shown}"
    )))
}

#[cfg(not(unix))]
fn refuse_if_others_read(_: &Path) -> Result<(), Failure> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_is_read_with_any_order_of_its_columns() {
        let text =
            "\u{feff}name;sender;protocols\r\nAnn Example;north;bsm-eggs rssw\r\n;south;\r\n";
        let contacts = Contacts::parsed(text).expect("a list");
        let north = contacts.of("north").expect("a contact");
        assert_eq!(north.name.as_deref(), Some("Ann Example"));
        assert!(north.is_asked_for("rssw") && !north.is_asked_for("wbc-egg-masses"));
        assert!(
            contacts
                .of("south")
                .is_some_and(|south| south.is_asked_for("rssw"))
        );
        assert_eq!(contacts.all().count(), 2);
    }

    #[test]
    fn a_mistake_is_named_by_line_and_column() {
        for (text, line, column) in [
            ("name\nAnn\n", 1, "sender"),
            ("sender,phone\nnorth,1\n", 1, "phone"),
            (
                "sender,email\nnorth,ann@example.org\nsouth,ben\n",
                3,
                "email",
            ),
            ("sender,email\n,ann@example.org\n", 2, "sender"),
            ("sender\nnorth\nnorth\n", 3, "sender"),
        ] {
            let mistake = Contacts::parsed(text).expect_err("a mistake");
            assert_eq!(
                (mistake.line, mistake.column.as_str()),
                (line, format!(", column {column}").as_str())
            );
        }
        assert_eq!(
            Contacts::parsed("sender,name\nnorth\n")
                .expect_err("a mistake")
                .line,
            2
        );
    }

    #[test]
    fn a_letter_is_addressed_to_its_contact() {
        let contacts =
            Contacts::parsed("sender,name,email\nnorth,Ann,ann@example.org\n").expect("a list");
        let letter = addressed(contacts.of("north"), "Hello,\n\nthank you\n");
        assert_eq!(
            letter,
            "To: Ann <ann@example.org>\n\nHello Ann,\n\nthank you\n"
        );
        assert_eq!(addressed(None, "Hello,\n"), "Hello,\n");
    }
}
