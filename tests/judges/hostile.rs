//! Hostile records, with memory measured from outside and the store read by a program of others.

use intake::read::formats::hexadecimal;
use serde_json::json;

use crate::support::hostile::bent;
use crate::support::{TestWorkspace, counts, full_visit, received};

/// A record that must be held.
struct Hostile {
    name: &'static str,
    record: Vec<u8>,
    code: &'static str,
    pointer: &'static str,
    /// Part of what the report says was found.
    found: &'static str,
}

fn hostile(
    name: &'static str,
    record: impl Into<Vec<u8>>,
    code: &'static str,
    pointer: &'static str,
    found: &'static str,
) -> Hostile {
    Hostile {
        name,
        record: record.into(),
        code,
        pointer,
        found,
    }
}

fn bent_bytes(name: &str, from: &str, to: &[u8]) -> Vec<u8> {
    let text = full_visit(name).to_string();
    let place = text.find(from).expect("the piece is there");
    [
        &text.as_bytes()[..place],
        to,
        &text.as_bytes()[place + from.len()..],
    ]
    .concat()
}

#[rustfmt::skip]
fn hostile_records() -> Vec<Hostile> {
    let area = "\"area_ha\":62.4";
    let area_of = |value: &str| bent("area", area, &format!("\"area_ha\":{value}"));
    let count_of = |value: &str| bent("count", "[0,1,0,2,0,0]", &format!("[0,{value},0,2,0,0]"));
    let crop_of = |value: &str| bent("crop", "\"crop_type\":\"oilseed\"", &format!("\"crop_type\":\"{value}\""));
    let at_count = "/sites/0/heads/0/1";
    vec![
        hostile("a member twice at the top", bent("twice", "\"protocol\":", "\"protocol\":\"bsm-eggs\",\"protocol\":"), "duplicate-member", "/protocol", "a second time"),
        hostile("a member twice within", bent("within", area, "\"area_ha\":62.4,\"area_ha\":62.4"), "duplicate-member", "/field/area_ha", "a second time"),
        hostile("a member twice in a list", bent("listed", "\"site\":1", "\"site\":1,\"site\":1"), "duplicate-member", "/sites/0/site", "a second time"),
        hostile("a count of 2^53 + 1", count_of("9007199254740993"), "out-of-range", at_count, "9007199254740993"),
        hostile("a count of 2^64", count_of("18446744073709551616"), "out-of-range", at_count, "1.84467440737095"),
        hostile("a count of 2^32", count_of("4294967296"), "out-of-range", at_count, "4294967296"),
        hostile("a count of 1e300", count_of("1e300"), "out-of-range", at_count, "1e"),
        hostile("a count of half", count_of("0.5"), "wrong-type", at_count, "0.5"),
        hostile("a revision of 2^53 + 1", bent("revision", "\"revision\":1", "\"revision\":9007199254740993"), "out-of-range", "/revision", "9007199254740993"),
        hostile("NaN", area_of("NaN"), "not-json", "", "area_ha"),
        hostile("Infinity", area_of("Infinity"), "not-json", "", "area_ha"),
        hostile("-Infinity", area_of("-Infinity"), "not-json", "", "area_ha"),
        hostile("1e999", area_of("1e999"), "not-json", "", "out of range"),
        hostile("-1e999", area_of("-1e999"), "not-json", "", "out of range"),
        hostile("a number in hexadecimal", area_of("0x10"), "not-json", "", "area_ha"),
        hostile("a number that begins with 0", area_of("062"), "not-json", "", "area_ha"),
        hostile("an area of -0", area_of("-0"), "out-of-range", "/field/area_ha", "-0"),
        hostile("a point that is text", bent("text", "\"lat\":44.12345", "\"lat\":\"44.12345\""), "wrong-type", "/field/lat", "\"44.12345\""),
        hostile("null for an optional member", bent("null", area, "\"area_ha\":62.4,\"farm_id\":null"), "wrong-type", "/field/farm_id", "null"),
        hostile("a byte that is not UTF-8", bent_bytes("latin", "oilseed", b"caf\xe9"), "not-json", "", "0xe9"),
        hostile("an overlong byte sequence", bent_bytes("overlong", "oilseed", b"\xc0\xaf"), "not-json", "", "0xc0"),
        hostile("a surrogate written as bytes", bent_bytes("bytes", "oilseed", b"\xed\xa0\x80"), "not-json", "", "0xed"),
        hostile("a lone surrogate", crop_of("\\ud800"), "not-json", "", "ud800"),
        hostile("a surrogate without its second", crop_of("\\ud800\\u0041"), "not-json", "", "ud800"),
        hostile("U+0000 in a text", crop_of("oil\\u0000seed"), "wrong-form", "/field/crop_type", "oil"),
        hostile("a bare control character", bent_bytes("bare", "oilseed", b"oil\x00seed"), "not-json", "", "control character"),
        hostile("10,000 levels of brackets", [b"{\"a\":".as_slice(), &b"[".repeat(10_000), &b"]".repeat(10_000), b"}"].concat(), "nested-too-deep", "", "127"),
        hostile("10,000 levels of objects", [b"{\"a\":".repeat(10_000), b"1".to_vec(), b"}".repeat(10_000)].concat(), "nested-too-deep", "", "127"),
        hostile("half a record", full_visit("half").to_string()[..200].to_owned(), "not-json", "", "EOF"),
        hostile("a record and more", format!("{} {{}}", full_visit("more")), "not-json", "", "trailing"),
        hostile("a comma too many", bent("comma", "}],", "},],"), "not-json", "", "trailing comma"),
        hostile("single quotes", full_visit("quotes").to_string().replace('"', "'"), "not-json", "", "'"),
        hostile("a comment", bent("comment", "{", "{/* note */"), "not-json", "", "note"),
        hostile("a line of a table", "12,2026-07-21,R3,4", "not-json", "", "12,2026"),
        hostile("a number", "7", "wrong-type", "", "7"),
        hostile("null", "null", "wrong-type", "", "null"),
        hostile("a text", "\"visit\"", "wrong-type", "", "visit"),
        hostile("an array where a record should be", "[1]", "wrong-type", "", "[1]"),
        hostile("members in order without names", "[\"1.0\",\"id\",1]", "wrong-type", "", "1.0"),
        hostile("an empty object", "{}", "member-missing", "/schema_version", "nothing"),
        hostile("a name like __proto__", bent("proto", "\"protocol\":", "\"__proto__\":{},\"protocol\":"), "member-unknown", "/__proto__", "__proto__"),
        hostile("a name with ~ and /", bent("tilde", "\"protocol\":", "\"a~/b\":1,\"protocol\":"), "member-unknown", "/a~0~1b", "a~/b"),
        hostile("a name in other letters", bent("letters", "\"protocol\"", "\"Protocol\""), "member-missing", "/protocol", "nothing"),
        hostile("an id of 201 characters", bent("long", "\"long\"", &format!("\"{}\"", "ä".repeat(201))), "wrong-length", "/visit_id", "ä"),
        hostile("a day that does not exist", bent("day", "\"2026-07-21\"", "\"2026-02-30\""), "wrong-form", "/observed_on", "2026-02-30"),
        hostile("a record of more than 1 MiB", bent("mib", "\"oilseed\"", &format!("\"{}\"", "x".repeat(1 << 20))), "record-too-long", "", "bytes"),
    ]
}

#[test]
fn each_hostile_record_is_held_with_its_place_and_the_good_ones_are_accepted() {
    let workspace = TestWorkspace::of_region("us:46");
    let records = hostile_records();
    let mut content = Vec::new();
    for (number, hostile) in records.iter().enumerate() {
        content.extend_from_slice(full_visit(&format!("good-{number}")).to_string().as_bytes());
        content.push(b'\n');
        content.extend_from_slice(&hostile.record);
        content.extend_from_slice(b"\r\n");
    }
    let account = workspace.load(&[&workspace.write("hostile", &content)]);
    let each = records.len() as u64;
    assert_eq!(
        counts(&account),
        received(2 * each).accepted(each).held(each)
    );
    let reports = account["submissions"][0]["held_records"]
        .as_array()
        .unwrap();
    for (number, (hostile, report)) in records.iter().zip(reports).enumerate() {
        let name = hostile.name;
        assert_eq!(report["line"], json!(2 * number + 2), "{name}");
        let findings = report["findings"].as_array().unwrap();
        let finding = findings
            .iter()
            .find(|finding| {
                finding["code"] == hostile.code && finding["pointer"] == hostile.pointer
            })
            .unwrap_or_else(|| panic!("{name}: {report:#}"));
        let found = finding["found"].as_str().unwrap();
        assert!(found.contains(hostile.found), "{name}: found {found}");
        assert!(!finding["expected"].as_str().unwrap().is_empty(), "{name}");
    }
    let stored = workspace.store_rows();
    let held = stored["held"].as_array().unwrap();
    assert_eq!(held.len(), records.len());
    for ((hostile, report), row) in records.iter().zip(reports).zip(held) {
        let (name, hex) = (hostile.name, row["hex"].as_str());
        assert_eq!(row["line"], report["line"], "{name}");
        assert_eq!(row["reasons"], report["findings"], "{name}");
        assert_eq!(row["sha256"], sha256_hex(&hostile.record), "{name}");
        assert!(
            hex.is_none_or(|hex| hex == hexadecimal(&hostile.record)),
            "{name}"
        );
    }
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn one_bad_element_does_not_spoil_its_array() {
    let workspace = TestWorkspace::of_region("us:46");
    let bad = bent("bad", "\"area_ha\":62.4", "\"area_ha\":NaN");
    let unclosed = bent("unclosed", "\"oilseed\"", "\"oilseed\n");
    let good = |name: &str| serde_json::to_string_pretty(&full_visit(name)).unwrap();
    let array = format!(
        "[{},\n {bad} ,{},[[{}]],{unclosed}, {},]",
        good("a"),
        good("b"),
        good("nested"),
        good("c")
    );
    let account = workspace.load(&[&workspace.write("array.json", &array)]);
    assert_eq!(
        counts(&account),
        received(7).accepted(3).held(4),
        "{account:#}"
    );
    let reports = account["submissions"][0]["held_records"]
        .as_array()
        .unwrap();
    let found: Vec<(u64, &str)> = reports
        .iter()
        .map(|report| {
            (
                report["line"].as_u64().unwrap(),
                report["findings"][0]["code"].as_str().unwrap(),
            )
        })
        .collect();
    // The last is the element that the comma before the bracket promises.
    assert_eq!(
        found,
        [
            (2, "not-json"),
            (4, "wrong-type"),
            (5, "not-json"),
            (7, "not-json")
        ]
    );
    let stored = workspace.store_rows();
    let hex = |row: usize| stored["held"][row]["hex"].as_str().unwrap().to_owned();
    assert_eq!(hex(0), hexadecimal(bad.as_bytes()));
    assert_eq!(hex(2), hexadecimal(unclosed.as_bytes()));

    let cut = format!(
        "[{},{}",
        full_visit("d"),
        &full_visit("e").to_string()[..100]
    );
    assert_eq!(
        counts(&workspace.load(&[&workspace.write("cut.json", cut)])),
        received(2).accepted(1).held(1)
    );
    let cut_between = format!("[{},", full_visit("f"));
    assert_eq!(
        counts(&workspace.load(&[&workspace.write("between.json", cut_between)])),
        received(2).accepted(1).held(1)
    );
}

#[test]
fn lines_of_100_mb_are_held_whole_in_little_memory() {
    let workspace = TestWorkspace::of_region("us:46");
    let length = 100_000_000;
    let mut content = Vec::with_capacity(3 * length + 10_000);
    let mut long = Vec::new();
    for letter in *b"abc" {
        content.extend_from_slice(full_visit(&format!("good-{letter}")).to_string().as_bytes());
        content.push(b'\n');
        long.push(sha256_hex(&vec![letter; length]));
        content.resize(content.len() + length, letter);
        content.push(b'\n');
    }
    let file = workspace.write("long", &content);
    drop(content);
    let (peak, account) = workspace.load_measured(&file);
    assert_eq!(counts(&account), received(6).accepted(3).held(3));
    let stored = workspace.store_rows();
    for (place, sha256) in long.iter().enumerate() {
        assert_eq!(
            account["submissions"][0]["held_records"][place]["findings"][0]["code"],
            "record-too-long"
        );
        assert_eq!(stored["held"][place]["line"], json!(2 * place + 2));
        assert_eq!(stored["held"][place]["length"], length);
        assert_eq!(stored["held"][place]["sha256"], *sha256);
    }
    assert!(peak < 1 << 20, "{peak} KiB");
}

fn sha256_hex(bytes: &[u8]) -> String {
    use sha2::Digest;
    hexadecimal(&sha2::Sha256::digest(bytes))
}

/// Small files that cost gigabytes when every finding, pointer, report or season is kept at once.
#[test]
fn small_files_cannot_take_much_memory() {
    let deep_name = "k".repeat(400_000);
    let repeated = format!(
        "{{\"{deep_name}\":{{{}}}}}\n",
        vec!["\"a\":1"; 60_000].join(",")
    );
    let mut wrong = full_visit("wrong");
    wrong["sites"] = (1..=36)
        .map(|site| json!({"site": site, "plants": vec![-1; 9_000]}))
        .collect();
    // Where more is held than taken, a file is refused whole: `costs::submissions::a_file_that_is_mostly_held…`.
    let words = format!("{}\nno record\n", full_visit("again")).repeat(150_000);
    let seasons: String = (2000..2300)
        .map(|year| {
            full_visit(&format!("year-{year}"))
                .to_string()
                .replace("2026-07-21", &format!("{year}-07-21"))
                + "\n"
        })
        .collect();
    for (name, content, expected) in [
        (
            "repeated members under a long name",
            repeated,
            received(1).held(1),
        ),
        (
            "324,000 counts below zero",
            format!("{wrong}\n"),
            received(1).held(1),
        ),
        (
            "lines of words",
            words,
            received(300_000)
                .accepted(1)
                .duplicate(149_999)
                .held(150_000),
        ),
        (
            "three hundred seasons",
            seasons,
            received(300).accepted(300),
        ),
    ] {
        let workspace = TestWorkspace::of_region("us:46");
        let (peak, account) = workspace.load_measured(&workspace.write("small", &content));
        assert_eq!(counts(&account), expected, "{name}");
        let reports = account["submissions"][0]["held_records"]
            .as_array()
            .unwrap();
        assert_eq!(
            reports.len() as u64,
            expected.held,
            "{name}: every held record is reported"
        );
        assert!(peak < 450 * 1024, "{name}: {peak} KiB");
        workspace.run(&["store", "verify"]).expect_code(0);
    }
}
