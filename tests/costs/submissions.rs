//! Submissions that unpack, or are held, without end.

use std::io::Write;

use flate2::Compression;
use flate2::write::GzEncoder;
use serde_json::json;

use crate::support::{TestWorkspace, counts, full_visit, lines, received};

fn gzip(write: impl FnOnce(&mut GzEncoder<Vec<u8>>)) -> Vec<u8> {
    let mut packed = GzEncoder::new(Vec::new(), Compression::best());
    write(&mut packed);
    packed.finish().expect("memory")
}

/// Loads what is to be refused whole: nothing of it is in the store, and what was said.
fn refused_whole(workspace: &TestWorkspace, name: &str, content: &[u8], more: &[&str]) -> String {
    let file = workspace.write(name, content).display().to_string();
    for command in ["check", "load"] {
        let run = workspace.run(&[&[command, &file], more].concat());
        assert_eq!(run.code, Some(1), "{name}: {run:?}");
    }
    let run = workspace
        .run(&[&["load", &file], more].concat())
        .expect_code(1);
    for table in ["visits", "held", "receipts"] {
        let query = format!("select count(*) as n from {table}");
        let rows = workspace
            .run(&["sql", &query, "--format", "json"])
            .expect_code(0);
        assert_eq!(rows.json(), json!([{"n": 0}]), "{name}: {table}");
    }
    run.stderr
}

#[test]
fn a_file_that_is_mostly_held_is_refused_whole_and_one_with_many_held_is_not() {
    let workspace = TestWorkspace::of_region("us:46");
    let numbers = format!("[{}0]", "0,".repeat(30_000));
    let said = refused_whole(&workspace, "numbers.json", numbers.as_bytes(), &[]);
    assert!(
        said.contains("10001 of its first 10001 records would be held"),
        "{said}"
    );
    assert!(
        said.contains("line 1: ") && said.contains("line 3: "),
        "{said}"
    );
    let said = refused_whole(
        &workspace,
        "words",
        "no record\n".repeat(30_000).as_bytes(),
        &[],
    );
    assert!(said.contains("nothing of it was loaded"), "{said}");
    // As many good records as wrong ones: 12,000 are held, and mended later.
    let good = (0..12_100).map(|number| {
        let mut visit = full_visit(&format!("v-{number}"));
        visit["field"]["field_id"] = json!(format!("F-{number}"));
        visit
    });
    let mixed: String = lines(&good.collect::<Vec<_>>()) + &"no record\n".repeat(12_000);
    let account = workspace.load_text("mixed", &mixed);
    assert_eq!(
        counts(&account),
        received(24_100).accepted(12_100).held(12_000)
    );
}

#[test]
fn what_unpacks_without_end_or_is_blank_is_refused() {
    let workspace = TestWorkspace::of_region("us:46");
    let block = vec![b'\n'; 1 << 20];
    let blanks = gzip(|packed| {
        for _ in 0..256 {
            packed.write_all(&block).expect("memory");
        }
    });
    let said = refused_whole(&workspace, "blanks.gz", &blanks, &[]);
    assert!(
        said.contains("which records do not: 200 for one is the most"),
        "{said}"
    );
    let said = refused_whole(&workspace, "blank", &block.repeat(5), &[]);
    assert!(said.contains("it is mostly blank"), "{said}");
    let spaced = [b"[".as_slice(), &vec![b' '; 5 << 20], b"]"].concat();
    let said = refused_whole(&workspace, "spaced.json", &spaced, &[]);
    assert!(said.contains("it is mostly blank"), "{said}");
    // A record, and blank lines below it, as editors leave them.
    let good = full_visit("v-1").to_string() + &"\n".repeat(10_000);
    let packed = gzip(|packed| packed.write_all(good.as_bytes()).expect("memory"));
    let file = workspace.write("good.gz", packed);
    assert_eq!(counts(&workspace.load(&[&file])), received(1).accepted(1));
}

#[test]
fn a_mapping_is_for_a_table_and_what_is_none_is_refused_in_one_sentence() {
    let workspace = TestWorkspace::of_region("us:46");
    let mapping = ["--mapping", "sample_data/mappings/wide.toml"];
    let wide = std::fs::read("sample_data/mappings/wide.csv").expect("the worked sheet");
    // Its header is in the third line.
    let header: Vec<u8> = wide
        .split_inclusive(|byte| *byte == b'\n')
        .take(3)
        .flatten()
        .copied()
        .collect();
    let columns = format!("{}\n{}\n", "a,".repeat(1_000_000), "1,".repeat(1_000_000));
    let one_cell = [b"a,b\n1,\"".as_slice(), &vec![b'x'; 100 << 20], b"\"\n"].concat();
    let open = [b"a,b\n\"x\n".as_slice(), &b"x\n".repeat(5 << 20)].concat();
    let mail = b"From: office@example.org\nTo: you@example.org\n\na  b\n1  2\n";
    for (name, content, said) in [
        (
            "records.json",
            full_visit("v").to_string().as_bytes(),
            "it holds records as JSON",
        ),
        ("array.json", b"[1, 2]", "record 1 is no object"),
        ("empty.csv", b"", "it is empty"),
        ("blank.csv", b"\n \n", "it is empty"),
        ("header.csv", &header, "it has no row below its header"),
        (
            "page.xls",
            b"<html><table><tr><td>a,b</td></tr></table>\nc,d\n",
            "a web page",
        ),
        ("sheet.xlsx", b"%PDF-1.7\nBT (a,b) Tj\n(c,d)\n", "a PDF"),
        ("a.eml", mail, "a mail"),
        (
            "key.parquet",
            b"PARE\x15\x04\x15\x00\x00PARE",
            "an encrypted footer",
        ),
        ("binary", b"a\x00b\x01c", "neither text nor a workbook"),
        ("columns.csv", columns.as_bytes(), "more than 2000 cells"),
        ("cell.csv", &one_cell, "more than 64 MiB"),
        ("open.csv", &open, "it holds a cell with"),
        (
            "words.txt",
            b"north field thirty eggs\nsouth field none\n",
            "",
        ),
    ] {
        let found = refused_whole(&workspace, name, content, &mapping);
        assert!(found.contains(said), "{name}: {found}");
        assert!(
            found.contains("help:") && !found.contains("not-json"),
            "{name}: {found}"
        );
    }
    // What was named for a table is no reason to refuse one.
    let file = workspace.write("wide.csv", &wide).display().to_string();
    workspace
        .run(&["check", &file, mapping[0], mapping[1]])
        .expect_code(0);
    let empty = workspace.write("none.csv", "").display().to_string();
    let run = workspace
        .run(&["check", "--suggest", &empty])
        .expect_code(1);
    assert!(run.stderr.contains("it is empty"), "{run:?}");
}
