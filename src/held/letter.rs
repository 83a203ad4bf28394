//! The letter that goes with a sender's held records: plain text, ready to paste into an e-mail.
//!
//! It names no person and blames nobody; it says which records, what is wrong, and how to correct it.

use super::record::{ReturnForm, ReturnedRecord};
use crate::shared::shown_numbers::count_of;
use scouting::visit::words::on_one_line;

/// Records that the letter lists one by one; all of them are in the file sent with it.
const LISTED_MAX: usize = 30;
/// Findings of a record that the letter lists.
const FINDINGS_LISTED_MAX: usize = 5;
/// Characters of a text of other people that a line of the letter takes.
const LENGTH_MAX: usize = 200;

/// The letter about these records, which are in these files.
pub(crate) fn letter(records: &[ReturnedRecord], file_names: &[&str], form: ReturnForm) -> String {
    let files = file_names.join(" and ");
    let mut lines = vec!["Hello,".to_owned(), String::new()];
    lines.push(opening(records.len()));
    for (place, record) in records.iter().take(LISTED_MAX).enumerate() {
        let new_file = place == 0 || records[place - 1].file_name != record.file_name;
        if new_file {
            lines.push(String::new());
            lines.push(format!("In {}:", in_short(&record.file_name)));
        }
        lines.extend(listed(record));
    }
    if records.len() > LISTED_MAX {
        let more = count_of(records.len() - LISTED_MAX, "record", "records");
        lines.push(String::new());
        lines.push(format!("… and {more} more, all of them in {files}."));
    }
    lines.push(String::new());
    lines.push("How to correct".to_owned());
    let in_rows = records.iter().any(|record| record.rows.is_some());
    let in_json = records.iter().any(|record| record.rows.is_none());
    lines.extend(how_to_correct(&files, form, (in_rows, in_json)));
    lines.push(String::new());
    if in_rows {
        lines.push(
            "Or correct your own spreadsheet and send all of it again: what was accepted before is not\n\
             counted twice."
                .to_owned(),
        );
        lines.push(String::new());
    }
    lines.push(
        "If one of these records is not needed after all, let us know which: we will discard it."
            .to_owned(),
    );
    lines.push(String::new());
    lines.push("Thank you for scouting, and for taking the time.".to_owned());
    lines.join("\n") + "\n"
}

fn opening(records: usize) -> String {
    let (which, it) = match records {
        1 => ("One record".to_owned(), "It is"),
        records => (count_of(records, "record", "records"), "They are"),
    };
    format!(
        "thank you for your visit records. {which} could not be accepted yet, because\n\
         something in the record is invalid or unreadable. {it} kept as sent, and counted as\n\
         soon as a correction arrives."
    )
}

fn listed(record: &ReturnedRecord) -> Vec<String> {
    let visit = match &record.visit_id {
        Some(visit_id) => format!(" (visit {})", in_short(visit_id)),
        None => String::new(),
    };
    let mut lines = vec![format!("  {}{visit}", in_short(&record.place()))];
    let words = record.in_words();
    for words in words.iter().take(FINDINGS_LISTED_MAX) {
        lines.push(format!("    - {}", in_short(&words.wrong)));
        lines.push(format!("      expected: {}", in_short(&words.right)));
    }
    if words.len() > FINDINGS_LISTED_MAX {
        lines.push(format!(
            "    - and {} more",
            words.len() - FINDINGS_LISTED_MAX
        ));
    }
    lines
}

fn how_to_correct(files: &str, form: ReturnForm, (in_rows, in_json): (bool, bool)) -> Vec<String> {
    let mut steps = vec![format!("Open what comes with this letter: {files}.")];
    if form == ReturnForm::Ndjson {
        steps.push(
            "Each line is one record. Change what is wrong within \"record\". Leave \"held_id\" as it is."
                .to_owned(),
        );
    } else {
        let sheet = |name: &str| match form {
            ReturnForm::Xlsx => format!("On the sheet \"{name}\", each"),
            _ => format!("Where the first line begins with held_id and has {name}, each"),
        };
        if in_rows {
            let name = match form {
                ReturnForm::Xlsx => "visits",
                _ => "held_problem",
            };
            steps.push(format!(
                "{} row is one head, plant or trap of a visit, in columns. held_problem says\n     \
                 what is wrong and where it was in your file; held_expected names the column of that\n     \
                 row and says what is expected. Write the correct value over the one that is there.\n     \
                 area_ha is in hectares, days are written as 2026-07-21. If you take a row out\n     \
                 or add one, write the new number of rows into held_units; leave the other columns\n     \
                 that begin with held_ as they are.",
                sheet(name)
            ));
        }
        if in_json {
            let name = match form {
                ReturnForm::Xlsx => "records",
                _ => "record_corrected",
            };
            steps.push(format!(
                "{} row is one record. Change what is wrong in the column record_corrected.\n     \
                 Leave the column held_id as it is.",
                sheet(name)
            ));
        }
    }
    steps.push("Save the file and send it back.".to_owned());
    (1..)
        .zip(steps)
        .map(|(number, step)| format!("  {number}. {step}"))
        .collect()
}

fn in_short(text: &str) -> String {
    let text = on_one_line(text);
    match text.char_indices().nth(LENGTH_MAX) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use scouting::visit::code::Code;
    use scouting::visit::finding::Finding;

    fn record(line: u64, file_name: &str, findings: usize) -> ReturnedRecord {
        let finding = Finding::new(Code::OutOfRange, "/sites/0/heads/1/2", "-1", "x");
        ReturnedRecord {
            held_id: format!("01ababababababab-{line}"),
            file_name: file_name.to_owned(),
            line,
            visit_id: Some(format!("visit-{line}")),
            findings: vec![finding; findings],
            record: "{}".to_owned(),
            rows: None,
        }
    }

    #[test]
    fn the_letter_says_which_what_and_how() {
        let records = [record(3, "a.ndjson", 1), record(9, "a.ndjson", 7)];
        let text = letter(&records, &["obs.xlsx"], ReturnForm::Xlsx);
        for piece in [
            "Hello,\n\n",
            "2 records could not be accepted yet",
            "In a.ndjson:\n  line 3 (visit visit-3)\n    - site 1, head 2, bract 3: \u{2212}1\n      \
             expected: a count is a whole number, 0 or more\n  line 9 (visit visit-9)\n",
            "    - and 2 more\n",
            "obs.xlsx",
            "held_id",
        ] {
            assert!(text.contains(piece), "{piece:?} in\n{text}");
        }
        assert_eq!(text.matches("In a.ndjson").count(), 1);
    }

    #[test]
    fn a_long_list_is_cut_and_hostile_texts_stay_on_their_line() {
        let mut records: Vec<ReturnedRecord> = (1..=100).map(|line| record(line, "a", 1)).collect();
        records[0].file_name = format!("evil\r\nBcc: all{}", "x".repeat(500));
        let text = letter(&records, &["obs.ndjson"], ReturnForm::Ndjson);
        assert!(text.contains("… and 70 records more, all of them in obs.ndjson."));
        assert!(text.lines().all(|line| !line.starts_with("Bcc")));
        assert!(text.lines().all(|line| line.chars().count() < 260));
    }
}
