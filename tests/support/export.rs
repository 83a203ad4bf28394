//! Packages for researchers: made by the program, unpacked and read.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::support::{TestWorkspace, folder_bytes, text_of};

/// A package in a folder beside the workspace; its place and what the program said of it.
pub fn package(workspace: &TestWorkspace, name: &str, options: &[&str]) -> (PathBuf, Value) {
    let out = workspace.beside(name);
    let place = text_of(&out);
    let run = workspace.run(&[&["export", "--out", &place, "--format", "json"], options].concat());
    (out, run.expect_code(0).json())
}

pub const FULL: [&str; 3] = ["--level", "full", "--private"];

pub const GRID: [&str; 3] = ["--level", "grid", "--private"];

/// The files, and those that are packed in one.
pub fn unpacked(files: &BTreeMap<String, Vec<u8>>) -> BTreeMap<String, Vec<u8>> {
    let mut all = files.clone();
    let packed = std::io::Cursor::new(files["dwca.zip"].clone());
    let mut archive = zip::ZipArchive::new(packed).expect("an archive");
    for place in 0..archive.len() {
        let mut part = archive.by_index(place).expect("a part");
        let mut bytes = Vec::new();
        std::io::Read::read_to_end(&mut part, &mut bytes).expect("bytes");
        let name = part.name().expect("a name").into_owned();
        all.insert(format!("dwca-{name}"), bytes);
    }
    all.remove("dwca.zip");
    all
}

/// Tables and events of a package. The other files tell when the newest report came in.
pub fn tables(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut files = unpacked(&folder_bytes(folder));
    files.retain(|name, _| name.ends_with(".csv") || name.ends_with(".parquet"));
    files
}
