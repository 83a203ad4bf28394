//! What one file, outline or query may cost: files that a person names in a command's place, outlines of a million
//! vertices, submissions that unpack or are held without end, queries that ask for all memory at once. Where the fault was
//! one of growth, the limit of time is hundreds of times what it takes now and a fraction of what it took.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use bractline::region::Region;
use flate2::Compression;
use flate2::write::GzEncoder;
use serde_json::json;

use crate::support::issuing::visits;
use crate::support::{Run, TestWorkspace, bractline, counts, full_visit, lines};

// --- Outlines ------------------------------------------------------------------------------------

/// Half of the vertices of the great outlines below lie on the border that both counties have.
const BORDER_VERTICES: usize = 150_000;

/// Two counties on both sides of a wavy border, and the border's vertices.
fn two_counties(border_vertices: usize) -> String {
    let border: Vec<[f64; 2]> = (0..=border_vertices)
        .map(|step| {
            let part = step as f64 / border_vertices as f64;
            // Waves within waves, of 3 km down to some metres.
            let waves = 0.03 * (part * 40.0).sin() + 0.002 * (part * 4_000.0).sin();
            [
                -99.0 + waves + 0.000_05 * (part * 60_000.0).sin(),
                44.0 + part,
            ]
        })
        .collect();
    let west = border
        .iter()
        .copied()
        .chain([[-100.0, 45.0], [-100.0, 44.0]]);
    let east = [[-98.0, 44.0], [-98.0, 45.0]]
        .into_iter()
        .chain(border.iter().rev().copied());
    let county = |id: &str, ring: Vec<[f64; 2]>| {
        let ring: Vec<[f64; 2]> = ring.iter().copied().chain(ring.first().copied()).collect();
        json!({"type": "Feature", "properties": {"id": id, "name": format!("County {id}")},
            "geometry": {"type": "Polygon", "coordinates": [ring]}})
    };
    let features = [county("e", east.collect()), county("w", west.collect())];
    json!({"type": "FeatureCollection", "features": features}).to_string()
}

/// Makes a workspace of a boundary file.
fn made(workspace: &str, file: &Path) -> Run {
    let file = file.display().to_string();
    let labels = ["--id-property", "id", "--name-property", "name"];
    bractline(&[&["init", workspace, "--region", &file], labels.as_slice()].concat())
}

fn region_of(text: &str) -> Result<Region, bractline::failure::Failure> {
    Region::from_text(text, "outlines.geojson", "id", "name")
}

#[test]
fn outlines_of_very_many_vertices_are_read_counted_drawn_and_keep_their_common_border() {
    let workspace = TestWorkspace::empty();
    let text = two_counties(BORDER_VERTICES);
    let file = workspace.write("outlines.geojson", &text);
    let path = workspace.path().display().to_string();
    let begun = Instant::now();
    made(&path, &file).expect_code(0);
    let region = region_of(&text).expect("two counties");
    let records: Vec<_> = ["e", "w"]
        .into_iter()
        .flat_map(|county| visits(&region, county, 4, "2026-07-21", 2))
        .collect();
    let account = workspace.load_text("visits.ndjson", &lines(&records));
    assert_eq!(account["accepted"], 8, "{account:#}");
    workspace
        .run(&["alert", "--week", "2026-W30"])
        .expect_code(0);
    let out = workspace.beside("figures");
    workspace
        .run(&["rollup", "--out", &out.display().to_string()])
        .expect_code(0);
    // Looking whether these outlines are valid took the square of their vertices: more than half an hour each.
    assert!(
        begun.elapsed() < Duration::from_secs(500),
        "{:?}",
        begun.elapsed()
    );
    let map = std::fs::read(
        workspace
            .path()
            .join("alerts/2026-W30/bsm-eggs/county_week.geojson"),
    )
    .expect("the map");
    assert!(map.len() < 20 << 20, "{} bytes", map.len());
    let map: serde_json::Value = serde_json::from_slice(&map).expect("JSON");
    assert_eq!(map["features"].as_array().map(Vec::len), Some(2));
    let (east, west) = (rings_of(&map, 0), rings_of(&map, 1));
    let border = |rings: &[Vec<[f64; 2]>]| -> BTreeSet<String> {
        let positions = rings
            .iter()
            .flatten()
            .filter(|[x, y]| (-99.5..-98.5).contains(x) && *y > 44.001 && *y < 44.999);
        positions.map(|[x, y]| format!("{x} {y}")).collect()
    };
    let (of_east, of_west) = (border(&east), border(&west));
    assert!(of_east.len() > 1_000, "{}", of_east.len());
    // Where the rounded border touches itself, a vertex in the middle of a straight piece can be left out on one side.
    let other = of_east.symmetric_difference(&of_west).count();
    assert!(other * 100 <= of_east.len(), "{other} of {}", of_east.len());
    // So nothing lies between the counties: together they have the ground of the rectangle, 2 square degrees.
    let ground: f64 = east.iter().chain(&west).map(|ring| signed_area(ring)).sum();
    assert!((ground - 2.0).abs() < 1e-6, "{ground}");
}

/// Every ring of a feature's outline.
fn rings_of(map: &serde_json::Value, feature: usize) -> Vec<Vec<[f64; 2]>> {
    let geometry = &map["features"][feature]["geometry"];
    let coordinates = geometry["coordinates"].clone();
    let polygons: Vec<Vec<Vec<[f64; 2]>>> = match geometry["type"].as_str() {
        Some("Polygon") => vec![serde_json::from_value(coordinates).expect("a polygon")],
        _ => serde_json::from_value(coordinates).expect("polygons"),
    };
    polygons.into_iter().flatten().collect()
}

/// The area of a closed ring in square degrees; of a hole it is negative.
fn signed_area(ring: &[[f64; 2]]) -> f64 {
    let [x0, y0] = ring[0];
    let cross = |[one, other]: &[[f64; 2]; 2]| {
        (one[0] - x0) * (other[1] - y0) - (other[0] - x0) * (one[1] - y0)
    };
    ring.array_windows().map(cross).sum::<f64>() / 2.0
}

fn one_county(ring: &[[f64; 2]]) -> String {
    let ring: Vec<[f64; 2]> = ring.iter().copied().chain(ring.first().copied()).collect();
    json!({"type": "FeatureCollection", "features": [{"type": "Feature",
        "properties": {"id": "s", "name": "Star"},
        "geometry": {"type": "Polygon", "coordinates": [ring]}}]})
    .to_string()
}

/// A star of so many points, drawn through its middle.
fn star(points: usize) -> Vec<[f64; 2]> {
    let step = points / 2;
    let corner = |turn: usize| {
        let angle = std::f64::consts::TAU * ((turn * step) % points) as f64 / points as f64;
        [-100.0 + angle.cos(), 44.0 + angle.sin()]
    };
    (0..points).map(corner).collect()
}

#[test]
fn an_outline_that_encloses_ground_twice_is_refused_and_a_small_fault_is_told() {
    for points in [5, 101, 20_001] {
        let refused = region_of(&one_county(&star(points)))
            .expect_err("a star")
            .to_string();
        let said = [
            "encloses ground twice",
            "again and again",
            "over one another",
        ];
        assert!(
            said.iter().any(|part| refused.contains(part)),
            "{points}: {refused}"
        );
        assert!(
            refused.contains("Star (s)") && refused.contains("ogr2ogr"),
            "{refused}"
        );
    }
    let workspace = TestWorkspace::empty();
    let file = workspace.write("star.geojson", one_county(&star(5)));
    let path = workspace.path().display().to_string();
    let run = made(&path, &file).expect_code(1);
    assert!(run.stderr.contains("crosses itself near"), "{run:?}");
    assert!(
        !workspace.path().exists(),
        "nothing is made of a region that is refused"
    );
    // A loop of some metres, as simplifying leaves it.
    let looped = [
        [-100.0, 44.0],
        [-99.0, 44.0],
        [-99.0, 44.5],
        [-98.9999, 44.5001],
        [-98.9999, 44.5],
        [-99.0, 44.5001],
        [-99.0, 45.0],
        [-100.0, 45.0],
    ];
    let region = region_of(&one_county(&looped)).expect("a county");
    let crossed: Vec<_> = region.crossed().map(|(county, _)| &*county.id).collect();
    assert_eq!(crossed, ["s"]);
    let file = workspace.write("looped.geojson", one_county(&looped));
    let run = made(&path, &file).expect_code(0);
    assert!(run.stdout.contains("meets itself near -98.99"), "{run:?}");
    assert_eq!(
        region_of(&two_counties(100))
            .expect("two counties")
            .crossed()
            .count(),
        0
    );
}

#[test]
fn a_file_whose_edges_lie_over_one_another_is_refused_before_it_costs_their_square() {
    // Slanted teeth, each as long as the county is wide: every box of an edge holds all the others.
    let teeth = 30_000;
    let mut ring = Vec::new();
    for tooth in 0..teeth {
        let shift = 0.5 * f64::from(tooth) / f64::from(teeth);
        ring.push([-100.0 + shift, 44.0 - shift]);
        ring.push([-99.0 + shift + 0.000_01, 45.0 - shift]);
    }
    ring.push([-98.4, 43.4]);
    ring.push([-100.0, 43.4]);
    let refused = region_of(&one_county(&ring))
        .expect_err("teeth")
        .to_string();
    assert!(
        refused.contains("edges that lie over one another"),
        "{refused}"
    );
}

// --- Submissions ---------------------------------------------------------------------------------

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
    assert_eq!(counts(&account), [24_100, 12_100, 0, 12_000]);
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
    assert_eq!(counts(&workspace.load(&[&file])), [1, 1, 0, 0]);
}

#[test]
fn a_mapping_is_for_a_table_and_what_is_none_is_refused_in_one_sentence() {
    let workspace = TestWorkspace::of_region("us:46");
    let mapping = ["--mapping", "sample_data/mappings/wide.toml"];
    let wide = std::fs::read("sample_data/mappings/wide.csv").expect("the worked sheet");
    // Its header stands in the third line.
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
        ("array.json", b"[1, 2]", "it holds records as JSON"),
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
            found.contains("mend:") && !found.contains("not-json"),
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

// --- Files that are named ------------------------------------------------------------------------

/// Runs the program, and ends it after a minute: a pipe that nobody writes to is waited for without an end.
#[cfg(unix)]
fn within_a_minute(workspace: &TestWorkspace, arguments: &[&str]) -> Run {
    let program = env!("CARGO_BIN_EXE_bractline");
    let mut command = Command::new("timeout");
    command
        .args(["60", program, "--workspace"])
        .arg(workspace.path())
        .args(arguments);
    Run::of(&mut command)
}

#[cfg(unix)]
#[test]
fn what_is_named_as_a_file_and_is_none_is_refused_by_every_command() {
    let workspace = TestWorkspace::of_region("us:46");
    let pipe = workspace.beside("pipe").display().to_string();
    assert!(
        Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .expect("mkfifo")
            .success()
    );
    let folder = workspace.beside("folder").display().to_string();
    std::fs::create_dir(&folder).expect("a folder");
    let sheet = workspace.write("a.csv", "a,b\n1,2\n").display().to_string();
    let records = workspace
        .write("a.ndjson", lines(&[full_visit("v")]))
        .display()
        .to_string();
    workspace.run(&["load", &records]).expect_code(0);
    let new = workspace.beside("new").display().to_string();
    let own = workspace.path().join("protocols/mine.toml");
    std::fs::create_dir_all(own.parent().expect("a folder")).expect("a folder");
    let settings = workspace.path().join("bractline.toml");
    let text = std::fs::read_to_string(&settings).expect("settings");
    for (path, kind) in [
        (&*pipe, "a pipe"),
        ("/dev/zero", "a device"),
        (&*folder, "a folder"),
    ] {
        let refused = |run: Run| {
            assert_eq!(run.code, Some(1), "{path}: {run:?}");
            let said = format!("it is {kind}, not a regular file");
            assert!(run.stderr.contains(&said), "{path}: {run:?}");
        };
        refused(within_a_minute(
            &workspace,
            &["load", &sheet, "--mapping", path],
        ));
        refused(within_a_minute(
            &workspace,
            &["check", &sheet, "--mapping", path],
        ));
        refused(within_a_minute(
            &workspace,
            &["alert", "--week", "2026-W30", "--note", path],
        ));
        refused(within_a_minute(
            &workspace,
            &["init", &new, "--region", path],
        ));
        std::os::unix::fs::symlink(path, &own).expect("a link");
        refused(within_a_minute(&workspace, &["load", &records]));
        refused(within_a_minute(&workspace, &["protocols", "list"]));
        std::fs::remove_file(&own).expect("the link");
        let weather = format!("{text}\n[weather]\nfile = {path:?}\n");
        if !text.contains("\n[weather]\n") {
            std::fs::write(&settings, weather).expect("settings");
        } else {
            std::fs::write(
                &settings,
                text.replace("\n[weather]\n", &format!("\n[weather]\nfile = {path:?}\n#")),
            )
            .expect("settings");
        }
        refused(within_a_minute(
            &workspace,
            &["alert", "--week", "2026-W30"],
        ));
        std::fs::remove_file(&settings).expect("settings");
        std::os::unix::fs::symlink(path, &settings).expect("a link");
        refused(within_a_minute(&workspace, &["load", &records]));
        std::fs::remove_file(&settings).expect("the link");
        let boundaries = text.replace("boundaries = \"us:46\"", &format!("boundaries = {path:?}"));
        assert_ne!(boundaries, text);
        std::fs::write(&settings, boundaries).expect("settings");
        refused(within_a_minute(&workspace, &["load", &records]));
        std::fs::write(&settings, &text).expect("settings");
    }
    // A file that is too large is not read to its end.
    let large = workspace
        .write("large.toml", vec![b'#'; 2 << 20])
        .display()
        .to_string();
    let run = workspace
        .run(&["load", &sheet, "--mapping", &large])
        .expect_code(1);
    assert!(run.stderr.contains("1048576 at the most"), "{run:?}");
    workspace.run(&["load", &records]).expect_code(0);
}

// --- Publishing ----------------------------------------------------------------------------------

#[cfg(unix)]
#[test]
fn publishing_follows_no_link_below_the_place() {
    let (workspace, _) = crate::support::issuing::loaded();
    workspace
        .run(&["alert", "--week", "2026-W30", "--issue"])
        .expect_code(0);
    let elsewhere = workspace.beside("elsewhere");
    std::fs::create_dir(&elsewhere).expect("a folder");
    let outside = elsewhere.join("outside");
    std::fs::write(&outside, "mine").expect("a file");
    let publish = |to: &Path| workspace.run(&["publish", "--to", &to.display().to_string()]);
    for (name, target) in [
        ("0001", elsewhere.as_path()),
        ("0001/alert.html", &outside),
        ("0001/alert.md", Path::new("nothing there")),
        ("feed.xml", &outside),
        ("index.html", Path::new("nothing there")),
    ] {
        let place = workspace.beside(&format!("public {}", name.replace('/', " ")));
        let link = place.join(name);
        std::fs::create_dir_all(link.parent().expect("a folder")).expect("a folder");
        std::os::unix::fs::symlink(target, &link).expect("a link");
        let run = publish(&place).expect_code(1);
        assert!(
            run.stderr
                .contains("a link, which publishing does not follow"),
            "{name}: {run:?}"
        );
        assert!(
            link.symlink_metadata().expect("there").is_symlink(),
            "{name}"
        );
        let files = |folder: &Path| {
            let mut files: Vec<_> = std::fs::read_dir(folder).expect("a folder").collect();
            files.retain(|entry| entry.as_ref().is_ok_and(|entry| entry.path() != link));
            files.len()
        };
        assert_eq!(files(&elsewhere), 1, "{name}: written through the link");
        assert!(
            files(&place) <= 1,
            "{name}: something was written before the link was met"
        );
    }
    assert_eq!(std::fs::read(&outside).expect("the file"), b"mine");
    // The place itself may be a link: it was named by the person.
    let linked = workspace.beside("linked");
    std::fs::create_dir(workspace.beside("real")).expect("a folder");
    std::os::unix::fs::symlink(workspace.beside("real"), &linked).expect("a link");
    publish(&linked).expect_code(0);
    assert!(workspace.beside("real/feed.xml").exists());
    publish(&linked).expect_code(0);
}

// --- Queries -------------------------------------------------------------------------------------

/// The program with an address space that ends it where memory is asked for without bound, as a small machine does.
fn asked(workspace: &TestWorkspace, query: &str) -> Run {
    let limited = "ulimit -v 8388608; exec \"$@\"";
    let mut command = Command::new("sh");
    command
        .args([
            "-c",
            limited,
            "sh",
            env!("CARGO_BIN_EXE_bractline"),
            "--workspace",
        ])
        .arg(workspace.path())
        .args(["sql", query, "--seconds", "20", "--memory-mb", "256"]);
    Run::of(&mut command)
}

#[test]
fn functions_that_take_all_memory_at_once_are_left_out_with_a_reason() {
    let workspace = TestWorkspace::of_region("us:46");
    for (query, said) in [
        (
            "select array_resize(make_array(1), 2000000000)",
            "array_resize is left out",
        ),
        (
            "select list_resize(make_array(1), 3)",
            "array_resize is left out",
        ),
        (
            "select array_repeat(1, 2000000000)",
            "array_repeat is left out",
        ),
        (
            "select cardinality(range(1, 100000000000))",
            "range is left out",
        ),
        (
            "select generate_series(1, 2000000000)",
            "generate_series is left out",
        ),
        (
            "select length(repeat('x', 2000000000))",
            "repeat is left out",
        ),
        (
            "select arrow_cast(make_array(1), 'FixedSizeList(2000000000, Int64)')",
            "arrow_cast is left out",
        ),
        (
            "select arrow_try_cast(make_array(1), 'FixedSizeList(2000000000, Int64)')",
            "arrow_try_cast is left out",
        ),
        (
            "select cast(make_array(1) as bigint[2000000000])",
            "a type of 2000000000 items",
        ),
        (
            "select try_cast(null as bigint[2000000000])",
            "a type of 2000000000 items",
        ),
        ("select lpad('x', 2000000000)", "argument 2 of lpad"),
        (
            "select rpad('x', revision) from visits",
            "argument 2 of rpad",
        ),
        (
            "select approx_percentile_cont(revision, 0.5, 2000000000) from visits",
            "argument 3 of approx_percentile_cont",
        ),
        // Wherever it stands.
        (
            "select 1 where (select count(*) from (select range(1, 9))) > 0",
            "range is left out",
        ),
        (
            "select 1 from visits order by repeat('x', 9)",
            "repeat is left out",
        ),
        (
            "select 1 from visits limit cardinality(range(1, 9))",
            "range is left out",
        ),
        (
            "select 1 from visits v join held h on repeat('x', 9) = v.visit_id",
            "repeat is left out",
        ),
        (
            "select string_agg(visit_id, repeat('y', 1000000)) from visits",
            "repeat is left out",
        ),
        ("values (array_repeat(1, 9))", "array_repeat is left out"),
    ] {
        let run = asked(&workspace, query);
        assert_eq!(run.code, Some(1), "{query}: {run:?}");
        assert!(run.stderr.contains(said), "{query}: {run:?}");
        assert!(!run.stderr.contains("panicked"), "{query}: {run:?}");
    }
    for (query, answer) in [
        ("select lpad('7', 3, '0') as n", json!([{"n": "007"}])),
        ("select rpad('7', 3, '0') as n", json!([{"n": "700"}])),
        (
            "select cast(make_array(1, 2) as bigint[2]) as n",
            json!([{"n": [1, 2]}]),
        ),
        (
            "select array_length(array_append(make_array(1), 2)) as n",
            json!([{"n": 2}]),
        ),
    ] {
        let run = workspace
            .run(&["sql", query, "--format", "json"])
            .expect_code(0);
        assert_eq!(run.json(), answer, "{query}");
    }
}

#[test]
fn a_query_that_breaks_the_engine_shows_no_panic() {
    let workspace = TestWorkspace::of_region("us:46");
    let records: Vec<_> = (0..9)
        .map(|number| full_visit(&format!("v-{number}")))
        .collect();
    workspace.load_text("visits", &lines(&records));
    // A text of a megabyte by doubling, then one of gigabytes of it.
    let megabyte = (0..17).fold("'xxxxxxxx'".to_owned(), |inner, _| {
        format!("(select a || a as a from (select {inner} as a))")
    });
    let many = "units u0, units u1, units u2";
    for query in [
        format!("select length(string_agg(u0.visit_id, {megabyte})) from {many}"),
        format!("select length(string_agg({megabyte}, ',')) from {many}"),
        format!("select max(length(replace({megabyte}, 'x', {megabyte})))"),
        format!("select length(array_to_string(array_agg({megabyte}), ',')) from {many}"),
        format!("select length(concat({megabyte}, u0.visit_id)) from {many} order by 1"),
    ] {
        let run = asked(&workspace, &query);
        let shown: String = query.chars().take(60).collect();
        assert_eq!(run.code, Some(1), "{shown}: {run:?}");
        assert!(run.stderr.starts_with("error: "), "{shown}: {run:?}");
        assert!(!run.stderr.contains("panicked"), "{shown}: {run:?}");
    }
}
