//! Who may import whom: the data goes one way, and each library has one module that names it.

use crate::house::{assert_none, rust};

/// What each module of the engine may import of ours, besides itself. The data goes one way: no arrow back.
const ENGINE: [(&str, &[&str]); 10] = [
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
];

/// The engine's last module, which rolls up; every feature may import it and all of [`ENGINE`].
const ROLLUP: &str = "rollup";

/// The features, level by level: each may import those of the levels before its own and no other.
const FEATURES: [&[&str]; 9] = [
    &["shared"],
    &["workspace"],
    &[
        "figures",
        "load",
        "held",
        "count_sheet",
        "gate",
        "protocols",
    ],
    &["seasons", "plan", "scenario"],
    &["alert"],
    &["export"],
    &["demo"],
    &["cli"],
    &["main"],
];

/// Folders that cannot see the store: what is in no public table cannot get into a page, a map or a note by accident.
const WITHOUT_STORE: [&str; 5] = [
    "src/shared/",
    "src/gate/",
    "src/figures/map/",
    "src/alert/page/",
    "src/alert/note/",
];

/// What a module may import of ours; `None` of a module that is in no list.
fn may_import(module: &str) -> Option<Vec<&'static str>> {
    let engine = ENGINE.iter().find(|(name, _)| *name == module);
    if let Some((_, may)) = engine {
        return Some(may.to_vec());
    }
    let all = ENGINE.iter().map(|(name, _)| *name);
    if module == ROLLUP {
        return Some(all.filter(|name| *name != "intake").collect());
    }
    let level = FEATURES.iter().position(|level| level.contains(&module))?;
    let lower = FEATURES[..level]
        .iter()
        .flat_map(|level| level.iter().copied());
    Some(all.chain([ROLLUP]).chain(lower).collect())
}

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
    let mut broken = Vec::new();
    for source in rust().iter().filter(|source| source.path != "src/lib.rs") {
        let module = source.module();
        let may = may_import(module).unwrap_or_else(|| {
            panic!(
                "{}: say above what the new module {module} may import",
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
fn pages_maps_and_the_gate_cannot_see_the_store() {
    let guarded = rust().into_iter().filter(|source| {
        let mut folders = WITHOUT_STORE.iter();
        folders.any(|folder| source.path.starts_with(folder))
    });
    let broken = guarded.flat_map(|source| {
        let names = source
            .lines()
            .filter(|(_, line)| named_modules(line).contains(&"store"));
        let broken = names.map(|(number, _)| format!("{}:{number}: store", source.path));
        broken.collect::<Vec<_>>()
    });
    assert_none(broken.collect(), "take public rows as an argument");
}

#[test]
fn the_reading_of_imports_sees_every_form() {
    assert_eq!(named_modules("use crate::visit::week::IsoWeek;"), ["visit"]);
    assert_eq!(
        named_modules("use crate::{store, region::Region};"),
        ["store", "region"]
    );
    assert_eq!(
        named_modules("let x = crate::store::rows::written::half(crate::visit::y);"),
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
        // of a bucket only the workspace knows.
        (
            "object_store",
            &[
                "src/store/",
                "src/alert/publish/place.rs",
                "src/workspace/bucket.rs",
            ],
        ),
        ("ballista", &["src/rollup/cluster.rs"]),
        ("atom_syndication", &["src/alert/publish/feed.rs"]),
        ("ammonia", &["src/alert/note/"]),
        (
            "pulldown_cmark",
            &["src/alert/note/", "src/gate/", "src/shared/markdown.rs"],
        ),
        ("html5ever", &["src/gate/views.rs"]),
        ("percent_encoding", &["src/gate/views.rs"]),
        ("unicode_security", &["src/gate/"]),
        ("clap", &["src/cli/"]),
        ("indicatif", &["src/cli/"]),
        ("jsonschema", &["src/intake/"]),
        ("flate2", &["src/intake/", "src/heat/", "src/demo/"]),
        ("rstar", &["src/region/"]),
        (
            "geojson",
            &["src/region/", "src/figures/map/", "src/plan/strips.rs"],
        ),
        (
            "askama",
            &[
                "src/alert/",
                "src/count_sheet/",
                "src/export/",
                "src/figures/map/",
                "src/plan/",
                "src/seasons/",
                "src/shared/chart.rs",
            ],
        ),
        ("rand", &["src/demo/", "src/statistics/"]),
        ("rand_chacha", &["src/demo/", "src/statistics/"]),
        ("rand_distr", &["src/demo/", "src/statistics/"]),
        (
            "toml",
            &["src/intake/mapping/", "src/protocol/", "src/workspace/"],
        ),
        (
            "datafusion",
            // parquet_records.rs takes from it only what it carries of Arrow's JSON.
            &[
                "src/intake/parquet_records.rs",
                "src/store/",
                "src/rollup/",
                "src/export/take_home.rs",
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
