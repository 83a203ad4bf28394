//! `CITATION.cff`: how to cite a package, in the Citation File Format 1.2.0
//! (<https://doi.org/10.5281/zenodo.5171937>).

use serde_json::json;

use super::facts::Facts;

/// Licenses of data by the identifiers that the format's own list has; others are named by their address alone.
const LISTED: [&str; 9] = [
    "CC0-1.0",
    "CC-BY-4.0",
    "CC-BY-SA-4.0",
    "CC-BY-NC-4.0",
    "CC-BY-ND-4.0",
    "CC-BY-NC-SA-4.0",
    "ODbL-1.0",
    "ODC-By-1.0",
    "PDDL-1.0",
];

/// The file. A text in quotes of JSON is one of YAML as well.
pub(super) fn citation_file(facts: &Facts) -> String {
    let credits = &facts.credits;
    // The format has no member for who funded the work.
    let about = match credits.funding() {
        Some(funding) => format!("{} {funding}", facts.about()),
        None => facts.about(),
    };
    let author = match facts.office.is_empty() {
        true => "the office that keeps this workspace (its name is not stated)",
        false => &facts.office,
    };
    let mut lines = vec![
        "cff-version: 1.2.0".to_owned(),
        "type: dataset".to_owned(),
        format!(
            "message: {}",
            json!("Please cite this package as below, with its version.")
        ),
        format!("title: {}", json!(facts.title())),
        format!("abstract: {}", json!(about)),
        "authors:".to_owned(),
    ];
    for creator in &credits.creators {
        lines.push(format!("  - given-names: {}", json!(creator.given_names)));
        lines.push(format!("    family-names: {}", json!(creator.family_names)));
        let orcid = creator.orcid_url();
        lines.extend(orcid.map(|url| format!("    orcid: {}", json!(url))));
    }
    if credits.creators.is_empty() {
        lines.push(format!("  - name: {}", json!(author)));
    }
    if !credits.doi.is_empty() {
        lines.push(format!("doi: {}", json!(credits.doi)));
    }
    lines.extend([
        format!(
            "version: {}",
            json!(format!("store-{}", facts.store_version))
        ),
        "keywords:".to_owned(),
        "  - pest scouting".to_owned(),
        "  - integrated pest management".to_owned(),
    ]);
    if let Some(license) = &facts.license {
        if LISTED.contains(&license.name.as_str()) {
            lines.push(format!("license: {}", license.name));
        } else if !license.url.is_empty() {
            lines.push(format!("license-url: {}", json!(license.url)));
        }
    }
    lines.join("\n") + "\n"
}
