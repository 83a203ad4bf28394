//! The files attached to a mail (Internet Message Format, RFC 5322, with MIME), unpacked into a folder.
//!
//! A mail is read for its attachments alone: who wrote it, to whom and what is not kept. An attachment is written byte for
//! byte; in which letters its text is written is for the reader of tables to find out, not for the mail to say.

use std::fs::File;
use std::io::Write;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use mail_parser::decoders::base64::base64_decode;
use mail_parser::decoders::quoted_printable::quoted_printable_decode;
use mail_parser::{Encoding, Message, MessageParser, MessagePart, MimeHeaders, PartType};

use crate::read::inbox::inner_file::{Content, InnerFile, shown_name};
use crate::workbook::package::{FILE_BYTES_MAX, PARTS_MAX};
use scouting::failure::{Failure, Kind};
use scouting::plain_file::read_plain;

/// Lines that open a mail, in lower case. Two of them, and nothing but such lines before the first blank one, make a mail.
const HEADERS: [&str; 12] = [
    "from",
    "to",
    "subject",
    "date",
    "sent",
    "received",
    "message-id",
    "mime-version",
    "content-type",
    "return-path",
    "delivered-to",
    "reply-to",
];
const HEADERS_MIN: usize = 2;

/// Whether a file that begins so is a mail.
pub fn is_mail(start: &[u8]) -> bool {
    let start = start.strip_prefix(b"\xef\xbb\xbf").unwrap_or(start);
    let mut known = 0;
    for (number, line) in start.split(|byte| *byte == b'\n').enumerate() {
        let line = line.trim_ascii_end();
        if line.is_empty() {
            break;
        }
        let goes_on = number > 0 && (line.starts_with(b" ") || line.starts_with(b"\t"));
        // A mailbox begins each mail with a line of its own.
        if goes_on || (number == 0 && line.starts_with(b"From ")) {
            continue;
        }
        let Some(colon) = line.iter().position(|byte| *byte == b':') else {
            return false;
        };
        let name = &line[..colon];
        let is_name = |byte: &u8| byte.is_ascii_alphanumeric() || *byte == b'-' || *byte == b'_';
        if name.is_empty() || !name.iter().all(is_name) {
            return false;
        }
        known += usize::from(
            HEADERS
                .iter()
                .any(|header| name.eq_ignore_ascii_case(header.as_bytes())),
        );
    }
    known >= HEADERS_MIN
}

/// Unpacks the attachments of a mail into a folder that is empty.
///
/// # Errors
/// If it cannot be read, is larger than is read, or has nothing attached.
pub fn unpack_mail(path: &Path, name: &str, into: &Path) -> Result<Vec<InnerFile>, Failure> {
    let bytes = read_plain(path, FILE_BYTES_MAX)?;
    if bytes.starts_with(b"From ") {
        return Err(
            cannot_open(name, "it is a mailbox, which can hold many mails")
                .mend("save each mail in a file of its own"),
        );
    }
    // Where the parser loses its way in a damaged mail, that is the mail's failure and not ours.
    let message = catch_unwind(AssertUnwindSafe(|| MessageParser::default().parse(&bytes)))
        .unwrap_or_default()
        .filter(|message| message.parts.len() <= PARTS_MAX)
        .ok_or_else(|| cannot_open(name, "its parts cannot be told apart").mend(SAVE_ATTACHED))?;
    let mut files = Vec::new();
    for (number, part) in message.parts.iter().enumerate() {
        if !part.is_multipart() {
            files.push(inner_file((&bytes, &message), part, number, name, into)?);
        }
    }
    match files
        .iter()
        .any(|file| !matches!(file.content, Content::Letter))
    {
        true => Ok(files),
        false => Err(
            cannot_open(name, "it is a mail, and nothing is attached to it")
                .mend("records in the text of a mail are not read: ask for them as a file"),
        ),
    }
}

const SAVE_ATTACHED: &str = "save what is attached to it, and load that";

fn inner_file(
    (bytes, message): (&[u8], &Message<'_>),
    part: &MessagePart<'_>,
    number: usize,
    name: &str,
    into: &Path,
) -> Result<InnerFile, Failure> {
    let is_attached = message
        .attachments
        .iter()
        .any(|attached| *attached as usize == number);
    let given = part.attachment_name().map(last_name);
    if part.is_text() && given.is_none() && !is_attached {
        return Ok(InnerFile {
            name: format!("part {number}"),
            content: Content::Letter,
        });
    }
    let given = given.unwrap_or_else(|| format!("part {number}"));
    let refused = |what: &str| {
        Content::Refused(cannot_open(&format!("{name}/{given}"), what).mend(SAVE_ATTACHED))
    };
    let content = if part.is_message() {
        refused("it is a mail within a mail")
    } else {
        match exact_bytes(bytes, part).filter(|_| !part.is_encoding_problem) {
            None => refused("its encoding is damaged"),
            Some(content) => Content::Unpacked(
                write(&into.join(number.to_string()), &content)
                    .map_err(|error| Failure::file("write", into, error))?,
            ),
        }
    };
    Ok(InnerFile {
        name: given,
        content,
    })
}

/// The bytes of an attachment as they were before the mail. Of a text the parser keeps letters, not bytes.
fn exact_bytes(bytes: &[u8], part: &MessagePart<'_>) -> Option<Vec<u8>> {
    match &part.body {
        PartType::Binary(content) | PartType::InlineBinary(content) => Some(content.to_vec()),
        PartType::Text(_) | PartType::Html(_) => {
            let raw = bytes.get(part.offset_body as usize..part.offset_end as usize)?;
            match part.encoding {
                Encoding::None => Some(raw.to_vec()),
                Encoding::QuotedPrintable => quoted_printable_decode(raw),
                // The mark after the last line is no letter of base64.
                Encoding::Base64 => base64_decode(raw.split(|byte| *byte == b'-').next()?),
            }
        }
        PartType::Message(_) | PartType::Multipart(_) => None,
    }
}

fn write(place: &Path, content: &[u8]) -> std::io::Result<PathBuf> {
    File::create_new(place)?.write_all(content)?;
    Ok(place.to_owned())
}

/// The name of a file without the folders that a sender may have put before it.
fn last_name(name: &str) -> String {
    let shown = shown_name(name);
    let last = shown.rsplit('/').next().unwrap_or_default().trim();
    match last {
        "" | "." | ".." => "without name".to_owned(),
        last => last.to_owned(),
    }
}

fn cannot_open(name: &str, what: &str) -> Failure {
    Failure::new(Kind::Submission, format!("cannot unpack {name}: {what}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    const MAIL: &str = "From: office@example.org\r\nTo: survey@example.org\r\nSubject: week 30\r\nMIME-Version: 1.0\r\n\
        Content-Type: multipart/mixed; boundary=\"b\"\r\n\r\n--b\r\nContent-Type: text/plain; charset=utf-8\r\n\r\nHere they are.\r\n\
        --b\r\nContent-Type: text/csv; charset=us-ascii; name=\"plain.csv\"\r\nContent-Disposition: attachment; filename=\"../../plain.csv\"\r\n\r\nField,Eggs\r\nA,3\r\n\
        --b\r\nContent-Type: text/csv; charset=us-ascii\r\nContent-Transfer-Encoding: base64\r\nContent-Disposition: attachment; filename=\"packed.csv\"\r\n\r\nR3L232UsRWdn\r\ncwpBLDMK\r\n\
        --b\r\nContent-Type: text/csv\r\nContent-Transfer-Encoding: quoted-printable\r\nContent-Disposition: inline; filename=\"quoted.csv\"\r\n\r\nGr=F6=DFe,Eg=\r\ngs\r\nA,3\r\n\
        --b\r\nContent-Type: message/rfc822\r\n\r\nFrom: a@example.org\r\nSubject: x\r\n\r\ntext\r\n--b--\r\n";

    #[test]
    fn attachments_come_out_byte_for_byte() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("mail.eml");
        std::fs::write(&path, MAIL).expect("written");
        assert!(is_mail(MAIL.as_bytes()));
        let files = unpack_mail(&path, "mail.eml", folder.path()).expect("a mail");
        let shown: Vec<(String, Vec<u8>)> = files
            .into_iter()
            .map(|file| {
                let content = match file.content {
                    Content::Unpacked(path) => std::fs::read(path).expect("read"),
                    Content::Letter => b"letter".to_vec(),
                    Content::Refused(failure) => failure.to_string().into_bytes(),
                };
                (file.name, content)
            })
            .collect();
        assert_eq!(shown[0].1, b"letter");
        assert_eq!(shown[1].0, "plain.csv");
        assert_eq!(shown[1].1.trim_ascii_end(), b"Field,Eggs\r\nA,3");
        assert_eq!(shown[2].1, b"Gr\xf6\xdfe,Eggs\nA,3\n");
        assert_eq!(shown[3].1.trim_ascii_end(), b"Gr\xf6\xdfe,Eggs\r\nA,3");
        assert!(String::from_utf8_lossy(&shown[4].1).contains("a mail within a mail"));
        assert_eq!(shown.len(), 5);
    }

    #[test]
    fn a_table_is_no_mail() {
        for text in [
            "From,To\na,b\n",
            "From: a\n1\n",
            "{\"from\": 1}\n",
            "",
            "Note: a\nb: c\n",
        ] {
            assert!(!is_mail(text.as_bytes()), "{text}");
        }
    }
}
