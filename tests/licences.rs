//! Whose code the program is built of: every crate of the lock file under a license that lets anybody use it.
//!
//! An expression is read as SPDX has it (Specification 3.0, annex B) by the `spdx` crate. Advisories are not looked for: their
//! list is in no registry of packages; tests/README.md says how to look.

use std::process::Command;

use serde_json::Value;
use spdx::{Expression, ParseMode};

/// Licenses that ask for no more than a notice.
const FREE: [&str; 11] = [
    "0BSD",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "Unicode-3.0",
    "Zlib",
    "bzip2-1.0.6",
];

/// What is under another license, each with why it may.
const OTHERS: [(&str, &str, &str); 4] = [
    (
        "cssparser",
        "MPL-2.0",
        "unchanged: its source is at crates.io",
    ),
    (
        "dtoa-short",
        "MPL-2.0",
        "unchanged: its source is at crates.io",
    ),
    (
        "option-ext",
        "MPL-2.0",
        "unchanged: its source is at crates.io",
    ),
    (
        "webpki-root-certs",
        "CDLA-Permissive-2.0",
        "data: asks for the text of the license",
    ),
];

fn crates() -> Vec<Value> {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--locked", "--format-version", "1"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs the tests");
    assert!(output.status.success(), "{output:?}");
    let metadata: Value = serde_json::from_slice(&output.stdout).expect("metadata is JSON");
    metadata["packages"].as_array().expect("packages").clone()
}

fn is_free(expression: &str) -> bool {
    let expression =
        Expression::parse_mode(expression, ParseMode::LAX).expect("an SPDX expression");
    expression.evaluate(|of| of.license.id().is_some_and(|id| FREE.contains(&id.name)))
}

#[test]
fn every_crate_may_be_used_by_anybody() {
    let crates = crates();
    assert!(crates.len() > 400, "{} crates", crates.len());
    let mut others = Vec::new();
    for of in &crates {
        let name = of["name"].as_str().expect("a name");
        let license = of["license"].as_str().unwrap_or("none");
        let known = OTHERS
            .iter()
            .any(|(other, under, _)| *other == name && *under == license);
        if !known && (license == "none" || !is_free(license)) {
            others.push(format!("{name}: {license}"));
        }
    }
    assert!(
        others.is_empty(),
        "choose another crate, or say in OTHERS why it may be used: {others:#?}"
    );
    for (name, ..) in OTHERS {
        assert!(crates.iter().any(|of| of["name"] == name), "{name} is gone");
    }
}

#[test]
fn a_licence_that_asks_for_more_is_found() {
    for license in ["GPL-3.0-only", "MIT AND AGPL-3.0-or-later", "SSPL-1.0"] {
        assert!(!is_free(license), "{license}");
    }
    for license in [
        "MIT/Apache-2.0",
        "GPL-2.0-only OR MIT",
        "Apache-2.0 WITH LLVM-exception",
    ] {
        assert!(is_free(license), "{license}");
    }
}
