//! An inbox of forty invented senders, and how many records of each file are new, sent before, or wrong.

use std::collections::{BTreeMap, HashSet};
use std::io::{Cursor, Write};
use std::path::Path;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Value, json};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use crate::support::intake::packed;
use crate::support::{Counts, lines, received, visit};

const SENDERS: usize = 40;
/// Senders of spreadsheets, each with a mapping.
const OFFICES: usize = 12;

/// An inbox that was written, and what is in it.
pub struct Inbox {
    /// The numbers of each file that holds records, by its path within the inbox, for one run over all of them.
    pub truth: BTreeMap<String, Counts>,
    pub junk: Vec<String>,
    pub broken: Vec<String>,
}

/// One visit as the generator knows it.
#[derive(Clone)]
struct Sent {
    id: String,
    sender: usize,
    number: usize,
    is_wrong: bool,
}

impl Sent {
    fn new(sender: usize, number: usize, is_wrong: bool) -> Sent {
        let id = format!("{sender}-{number}");
        Sent {
            id,
            sender,
            number,
            is_wrong,
        }
    }

    /// A point outside the region is what is wrong with a wrong one.
    fn lon(&self) -> f64 {
        if self.is_wrong {
            0.0
        } else {
            -100.0 - self.number as f64 / 1e3
        }
    }

    fn json(&self) -> Value {
        let mut document = visit(&self.id);
        document["observer_id"] = json!(format!("obs-{}", self.sender));
        document["field"]["field_id"] = json!(format!("F-{}", self.id));
        document["field"]["lon"] = json!(self.lon());
        document
    }

    fn row(&self) -> String {
        let eggs = [0, 1, 0, 2, 0, 0]
            .map(|eggs: u32| eggs.to_string())
            .join(",");
        format!(
            "{},F-{},2026-07-21,{:.3},44.1,62.4,0.16,{eggs}\n",
            self.id,
            self.id,
            self.lon()
        )
    }
}

fn header(sender: usize) -> String {
    let eggs: Vec<String> = (1..=6).map(|bract| format!("S1H1B{bract}")).collect();
    format!(
        "Id {sender},Field,Date,Lon,Lat,Area,Price,{}\n",
        eggs.join(",")
    )
}

/// A mapping whose first header no other sender has.
fn mapping(sender: usize) -> String {
    super::mapping::BASE
        .replace("name = \"Id\"", &format!("name = \"Id {sender}\""))
        .replace(
            "name = \"Eggs\"\n",
            "namePattern = '^S(?<site>[0-9]+)H(?<head>[0-9]+)B(?<bract>[0-9]+)$'\n",
        )
}

fn table(sender: usize, visits: &[Sent]) -> String {
    let rows: String = visits.iter().map(Sent::row).collect();
    header(sender) + &rows
}

fn documents(visits: &[Sent]) -> Vec<Value> {
    visits.iter().map(Sent::json).collect()
}

/// Writes the inbox: 300 submissions, 12 mappings, 20 files without records, 6 broken ones.
pub fn write_inbox(folder: &Path) -> Inbox {
    let mut files: Vec<(Vec<String>, Vec<Sent>)> = Vec::new();
    let put = |place: &str, content: &[u8]| {
        let path = folder.join(place);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
        std::fs::write(path, content).expect("a file");
    };
    let parts = |place: &str| place.split('/').map(str::to_owned).collect::<Vec<String>>();
    for sender in 0..SENDERS {
        let home = match sender {
            // Two offices with both mappings in the folder above theirs.
            10 | 11 => format!("office/s{sender:02}"),
            _ => format!("s{sender:02}"),
        };
        let is_office = sender < OFFICES;
        let mut before: Vec<Sent> = Vec::new();
        for file in 0..if is_office { 8 } else { 7 } {
            let mut visits = vec![
                Sent::new(sender, file * 10, false),
                Sent::new(sender, file * 10 + 1, false),
            ];
            if (sender + file) % 7 == 0 {
                visits.push(Sent::new(sender, file * 10 + 2, true));
            }
            let new = visits.clone();
            if file % 3 == 1 {
                visits.extend(before.first().cloned());
            }
            before = new;
            let (ending, content) = match (is_office, file % 3) {
                (true, _) => ("csv", table(sender, &visits).into_bytes()),
                (_, 0) => ("json", json!(documents(&visits)).to_string().into_bytes()),
                (_, 1) => ("ndjson", lines(&documents(&visits)).into_bytes()),
                _ => ("ndjson.gz", packed(lines(&documents(&visits)).as_bytes())),
            };
            let late = if file == 6 { "late/" } else { "" };
            let place = format!("{home}/{late}f{file}.{ending}");
            put(&place, &content);
            files.push((parts(&place), visits));
        }
        if is_office {
            let place = home
                .rsplit_once("/s")
                .map_or(home.as_str(), |(above, _)| above);
            put(
                &format!("{place}/m{sender:02}.toml"),
                mapping(sender).as_bytes(),
            );
        }
    }
    let extra = |number| vec![Sent::new(0, number, false), Sent::new(0, number + 1, false)];
    let of_zip = [
        (
            "inner/a.csv",
            table(0, &extra(200)).into_bytes(),
            extra(200),
        ),
        (
            "inner/b.ndjson",
            lines(&documents(&extra(210))).into_bytes(),
            extra(210),
        ),
        (
            "c.json",
            json!(documents(&extra(220))).to_string().into_bytes(),
            extra(220),
        ),
        (
            "d.ndjson.gz",
            packed(lines(&documents(&extra(230))).as_bytes()),
            extra(230),
        ),
        (
            "e.ndjson",
            lines(&documents(&extra(240))).into_bytes(),
            extra(240),
        ),
    ];
    let members: Vec<(&str, &[u8])> = of_zip
        .iter()
        .map(|(name, content, _)| (*name, &content[..]))
        .collect();
    put("s00/more.zip", &zipped(&members));
    for (name, _, visits) in &of_zip {
        files.push((parts(&format!("s00/more.zip/{name}")), visits.clone()));
    }
    let of_mail = [
        ("a.csv", table(1, &extra(300)).into_bytes(), extra(300)),
        (
            "b.ndjson",
            lines(&documents(&extra(310))).into_bytes(),
            extra(310),
        ),
        (
            "c.json",
            json!(documents(&extra(320))).to_string().into_bytes(),
            extra(320),
        ),
    ];
    let attached: Vec<(&str, &[u8])> = of_mail
        .iter()
        .map(|(name, content, _)| (*name, &content[..]))
        .collect();
    put("s01/mail.eml", mail(&attached).as_bytes());
    for (name, _, visits) in &of_mail {
        files.push((parts(&format!("s01/mail.eml/{name}")), visits.clone()));
    }
    let junk = junk();
    for (place, content) in &junk {
        put(place, content);
    }
    let broken = broken();
    for (place, content) in &broken {
        put(place, content);
    }
    let names = |files: Vec<(String, Vec<u8>)>| files.into_iter().map(|(place, _)| place).collect();
    Inbox {
        truth: truth(files),
        junk: names(junk),
        broken: names(broken),
    }
}

/// What one run over the files in the order of their names must say.
fn truth(mut files: Vec<(Vec<String>, Vec<Sent>)>) -> BTreeMap<String, Counts> {
    files.sort_by(|(one, _), (other, _)| one.cmp(other));
    let mut known = HashSet::new();
    let mut truth = BTreeMap::new();
    for (place, visits) in files {
        let mut counts = received(visits.len() as u64);
        for visit in visits {
            match (visit.is_wrong, known.insert(visit.id)) {
                (true, _) => counts.held += 1,
                (false, true) => counts.accepted += 1,
                (false, false) => counts.duplicate += 1,
            }
        }
        truth.insert(place.join("/"), counts);
    }
    truth
}

fn junk() -> Vec<(String, Vec<u8>)> {
    let jpeg = b"\xff\xd8\xff\xe0\x00\x10JFIF".to_vec();
    let pdf = b"%PDF-1.7\n%\xe2\xe3\n".to_vec();
    let word = zipped(&[
        ("[Content_Types].xml", b"<Types/>"),
        ("word/document.xml", b"<document/>"),
    ]);
    let letter = b"Dear all,\n\nthese are the counts of week 30, as agreed.\nWe go on next week, if the weather holds.\n".to_vec();
    let named = |names: &[&str], content: &[u8]| {
        names
            .iter()
            .map(|name| ((*name).to_owned(), content.to_vec()))
            .collect::<Vec<_>>()
    };
    [
        named(&["README.txt", "s20/notes.md"], &letter),
        named(
            &["s03/photo.jpg", "s03/late/photo.JPG", "s30/field.jpeg"],
            &jpeg,
        ),
        named(&["s05/logo.png"], b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR"),
        named(&["s06/report.pdf", "s07/scan.pdf"], &pdf),
        named(&["s08/letter.docx"], &word),
        named(&["s08/letter.rtf"], b"{\\rtf1 Dear all}"),
        named(
            &["s02/~$f1.xlsx", "s04/~$count.xlsx"],
            b"\x05Scout  \x05\x00S\x00c\x00",
        ),
        named(&["s04/.~lock.f1.ods#"], b",scout,office,30.11.2026;\n"),
        named(
            &["Thumbs.db", "s09/Thumbs.db"],
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1\x00\x00",
        ),
        named(
            &["desktop.ini", "s09/desktop.ini"],
            b"[.ShellClassInfo]\r\nIconResource=a,0\r\n",
        ),
        named(&[".DS_Store", "s12/.DS_Store"], b"\x00\x00\x00\x01Bud1"),
        named(&["s13/settings.toml"], b"colour = \"green\"\n"),
    ]
    .concat()
}

fn broken() -> Vec<(String, Vec<u8>)> {
    let whole = packed(lines(&[visit("cut")]).as_bytes());
    let archive = zipped(&[("a.csv", b"Field,Eggs\nA,3\n")]);
    [
        ("s14/cut.ndjson.gz", whole[..whole.len() - 6].to_vec()),
        ("s15/cut.zip", archive[..archive.len() / 2].to_vec()),
        ("s16/empty.csv", Vec::new()),
        ("s17/count.xlsx", b"%PDF-1.7\n".to_vec()),
        (
            "s18/count.xls",
            b"<html><table><tr><td>3</td></tr></table></html>".to_vec(),
        ),
        ("s00/other.csv", b"Who,What\nA,3\nB,4\n".to_vec()),
    ]
    .map(|(place, content)| (place.to_owned(), content))
    .to_vec()
}

/// A zip archive of these files.
pub fn zipped(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in files {
        archive
            .start_file(*name, SimpleFileOptions::default())
            .expect("an entry");
        archive.write_all(content).expect("its content");
    }
    archive.finish().expect("an archive").into_inner()
}

/// A mail with these files attached.
pub fn mail(files: &[(&str, &[u8])]) -> String {
    let mut mail = "From: Invented Person <person@example.org>\r\nTo: survey@example.org\r\nSubject: week 30\r\n\
        MIME-Version: 1.0\r\nContent-Type: multipart/mixed; boundary=\"part\"\r\n\r\n\
        --part\r\nContent-Type: text/plain; charset=utf-8\r\n\r\nHere they are.\r\n"
        .to_owned();
    for (name, content) in files {
        mail += &format!(
            "--part\r\nContent-Type: application/octet-stream\r\nContent-Transfer-Encoding: base64\r\n\
             Content-Disposition: attachment; filename=\"{name}\"\r\n\r\n{}\r\n",
            STANDARD.encode(content)
        );
    }
    mail + "--part--\r\n"
}
