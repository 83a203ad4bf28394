//! Who may import whom: the data goes one way, and each library has one module that names it.

use std::collections::BTreeMap;

use crate::house::{assert_none, rust};

/// What each module may import of ours, beside itself. The data goes one way: no arrow back.
const IMPORTS: [(&str, &[&str]); 16] = [
    ("visit", &[]),
    ("failure", &[]),
    ("plain_file", &["failure"]),
    ("statistics", &[]),
    // What may be public of fields: it knows no table and no file.
    ("disclosure", &["visit", "statistics"]),
    ("heat", &["visit", "plain_file", "failure"]),
    ("protocol", &["visit", "heat", "plain_file", "failure"]),
    ("region", &["visit", "plain_file", "failure"]),
    ("store", &["visit", "disclosure", "failure"]),
    (
        "intake",
        &[
            "visit",
            "protocol",
            "region",
            "store",
            "plain_file",
            "failure",
        ],
    ),
    (
        "rollup",
        &[
            "visit",
            "protocol",
            "region",
            "store",
            "statistics",
            "disclosure",
            "heat",
            "failure",
        ],
    ),
    // It cannot see the store: what is in no roll-up table cannot be published by accident.
    (
        "publish",
        &[
            "visit",
            "protocol",
            "region",
            "rollup",
            "statistics",
            "disclosure",
            "failure",
        ],
    ),
    ("sample", &["visit", "failure"]),
    (
        "workspace",
        &["visit", "region", "disclosure", "plain_file", "failure"],
    ),
    (
        "cli",
        &[
            "visit",
            "protocol",
            "region",
            "store",
            "intake",
            "rollup",
            "publish",
            "sample",
            "statistics",
            "disclosure",
            "heat",
            "workspace",
            "plain_file",
            "failure",
        ],
    ),
    ("main", &[]),
];

/// The modules that a line names by a path from `crate`, also in `use crate::{…}`.
fn named_modules(line: &str) -> Vec<&str> {
    let word = |text: &'_ str| {
        text.find(|c: char| !c.is_alphanumeric() && c != '_')
            .unwrap_or(text.len())
    };
    line.match_indices("crate::")
        .filter(|(place, _)| !line[..*place].ends_with(|c: char| c.is_alphanumeric() || c == '_'))
        .flat_map(|(place, path)| {
            let rest = &line[place + path.len()..];
            let several = rest.strip_prefix('{').map(|list| list.split(','));
            match several {
                Some(list) => list.map(|item| &item.trim()[..word(item.trim())]).collect(),
                None => vec![&rest[..word(rest)]],
            }
        })
        .filter(|module| !module.is_empty())
        .collect()
}

#[test]
fn modules_import_only_what_stands_before_them_on_the_way_of_the_data() {
    let allowed: BTreeMap<&str, &[&str]> = IMPORTS.into_iter().collect();
    let mut broken = Vec::new();
    for source in rust().iter().filter(|source| source.path != "src/lib.rs") {
        let module = source.module();
        let may = allowed.get(module).unwrap_or_else(|| {
            panic!(
                "{}: say in IMPORTS what the new module {module} may import",
                source.path
            )
        });
        // Unit tests keep to the table as well, but for what the module itself is.
        let lines = (1..).zip(source.text.lines());
        for (number, line) in lines.filter(|(_, line)| !line.trim_start().starts_with("//")) {
            for named in named_modules(line) {
                if named != module && !may.contains(&named) {
                    broken.push(format!(
                        "{}:{number}: {module} may not import {named}",
                        source.path
                    ));
                }
            }
        }
    }
    assert_none(
        broken,
        "give the value as an argument, or move the code to where the table has it",
    );
}

#[test]
fn the_reading_of_imports_sees_every_form() {
    assert_eq!(named_modules("use crate::visit::week::IsoWeek;"), ["visit"]);
    assert_eq!(
        named_modules("use crate::{store, region::Region};"),
        ["store", "region"]
    );
    assert_eq!(
        named_modules("let x = crate::store::rows::half(crate::visit::y);"),
        ["store", "visit"]
    );
    assert!(named_modules("pub(crate) fn x() {}").is_empty());
    assert!(named_modules("use my_crate::store;").is_empty());
}

#[test]
fn only_the_module_of_a_library_names_it() {
    for (library, modules) in [
        ("deltalake", &["src/store/"][..]),
        // A public place is a folder or a bucket to it; of the store it knows nothing. What the environment says
        // of a bucket only the door knows.
        (
            "object_store",
            &["src/store/", "src/publish/place.rs", "src/cli/bucket.rs"],
        ),
        ("ballista", &["src/rollup/cluster.rs"]),
        ("atom_syndication", &["src/publish/feed.rs"]),
        ("ammonia", &["src/publish/note.rs"]),
        ("pulldown_cmark", &["src/publish/"]),
        ("html5ever", &["src/publish/gate_views.rs"]),
        ("percent_encoding", &["src/publish/gate_views.rs"]),
        ("unicode_security", &["src/publish/gate_"]),
        ("clap", &["src/cli/"]),
        ("indicatif", &["src/cli/"]),
        ("jsonschema", &["src/intake/"]),
        ("flate2", &["src/intake/", "src/heat/", "src/sample/"]),
        ("rstar", &["src/region/"]),
        ("geojson", &["src/region/", "src/publish/"]),
        ("askama", &["src/publish/"]),
        ("rand", &["src/sample/", "src/statistics/"]),
        ("rand_chacha", &["src/sample/", "src/statistics/"]),
        ("rand_distr", &["src/sample/", "src/statistics/"]),
        (
            "toml",
            &["src/intake/mapping/", "src/protocol/", "src/workspace/"],
        ),
        (
            "datafusion",
            // parquet_records.rs and visit_files.rs take from it only what it carries of Arrow's JSON.
            &[
                "src/intake/parquet_records.rs",
                "src/publish/visit_files.rs",
                "src/store/",
                "src/rollup/",
                "src/rollup/expression.rs",
            ],
        ),
    ] {
        // `deltalake::X` and `use deltalake;`, but not `in_deltalake::X` nor a module of ours with that name.
        let sources = rust();
        let guarded = sources
            .iter()
            .filter(|source| !modules.iter().any(|start| source.path.starts_with(start)));
        let broken = guarded.flat_map(|source| {
            let path = format!("{library}::");
            let names = source.lines().filter(|(_, line)| {
                line.match_indices(&path).any(|(place, _)| {
                    let before = line[..place].chars().next_back();
                    before.is_none_or(|c| !c.is_alphanumeric() && c != '_' && c != ':')
                })
            });
            let broken = names.map(|(number, _)| format!("{}:{number}: {library}", source.path));
            broken.collect::<Vec<_>>()
        });
        assert_none(
            broken.collect(),
            &format!("only {} may name it", modules.join(" and ")),
        );
    }
}
