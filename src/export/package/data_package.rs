//! `datapackage.json`: the package for programs, as a Data Package (version 2) of tables with their Table
//! Schemas. The standard: <https://datapackage.org/standard/data-package/>.

use serde_json::{Map, Value, json};

use super::facts::Facts;
use super::limits::constraints_of;
use super::package_file::{PackageFile, one_line, unmade};
use super::table::{ExportTable, Reference, type_word};
use crate::alert::inputs::sha256_of;
use crate::shared::cautions;
use scouting::failure::Failure;

/// How the name of a Parquet file ends.
const PARQUET: &str = ".parquet";
const PACKAGE_PROFILE: &str = "https://datapackage.org/profiles/2.0/datapackage.json";
const RESOURCE_PROFILE: &str = "https://datapackage.org/profiles/2.0/dataresource.json";
const SCHEMA_PROFILE: &str = "https://datapackage.org/profiles/2.0/tableschema.json";

/// The description of a package that holds these tables and files.
///
/// # Errors
/// A [`Failure`] if it cannot be written.
pub(super) fn data_package(
    facts: &Facts,
    tables: &[ExportTable],
    files: &[PackageFile],
) -> Result<Vec<u8>, Failure> {
    // A Parquet file is no resource of its own: it is another form of the table, which its CSV describes.
    let of_its_own = files.iter().filter(|file| !file.name.ends_with(PARQUET));
    let resources = of_its_own.map(|file| resource(file, tables, files));
    let mut package = json!({
        "$schema": PACKAGE_PROFILE,
        "name": facts.name(),
        "title": facts.title(),
        "description": facts.about(),
        "version": format!("store-{}", facts.store_version),
        "keywords": ["pest scouting", "integrated pest management", facts.level.word()],
        "sources": [{ "title": format!("Boundaries: {}", one_line(facts.region.source())) }],
        "caution": cautions::IN_ONE_SENTENCE,
        "madeBy": facts.program,
        "command": facts.command,
        "parameters": facts.parameters(),
        "inputs": facts.inputs.iter().map(|(name, sha256)| {
            json!({ "name": name, "hash": format!("sha256:{sha256}") })
        }).collect::<Vec<_>>(),
        "resources": resources.collect::<Vec<_>>(),
    });
    let mut add = |name: &str, value: Value| package[name] = value;
    if let Some(notice) = facts.region.invented() {
        add("invented", json!(notice));
    }
    if let Some(moment) = facts.received_until {
        add("receivedUntil", json!(moment.to_string()));
    }
    let mut contributors = facts.credits.contributors();
    if !facts.office.is_empty() {
        contributors.insert(0, json!({ "title": facts.office, "roles": ["publisher"] }));
    }
    if !contributors.is_empty() {
        add("contributors", json!(contributors));
    }
    if let Some(url) = facts.credits.doi_url() {
        add("id", json!(url));
    }
    match &facts.license {
        Some(license) => add("licenses", json!([license.in_package()])),
        None => add("licenseStated", json!(false)),
    }
    let mut text = serde_json::to_vec_pretty(&package).map_err(unmade)?;
    text.push(b'\n');
    Ok(text)
}

fn resource(file: &PackageFile, tables: &[ExportTable], files: &[PackageFile]) -> Value {
    let (stem, ending) = file.name.rsplit_once('.').unwrap_or((&file.name, ""));
    let table = tables.iter().find(|table| table.name == stem);
    let mut resource = json!({
        "$schema": RESOURCE_PROFILE,
        "name": file.name.to_lowercase().replace('.', "-"),
        "path": file.name,
        "format": ending,
        "mediatype": media_type(ending),
        "bytes": file.bytes.len(),
        "hash": format!("sha256:{}", sha256_of(&file.bytes)),
    });
    match table {
        Some(table) => {
            resource["name"] = json!(table.name);
            resource["type"] = json!("table");
            resource["encoding"] = json!("utf-8");
            resource["title"] = json!(table.title);
            resource["description"] = json!(table.about);
            resource["dialect"] = json!({ "delimiter": ",", "lineTerminator": "\r\n" });
            resource["schema"] = schema(table);
            let other = files
                .iter()
                .find(|file| file.name.strip_suffix(PARQUET) == Some(stem));
            if let Some(other) = other {
                resource["sameRows"] = json!({
                    "path": other.name,
                    "mediatype": media_type("parquet"),
                    "bytes": other.bytes.len(),
                    "hash": format!("sha256:{}", sha256_of(&other.bytes)),
                });
            }
        }
        None => resource["description"] = json!(file.about),
    }
    resource
}

fn media_type(ending: &str) -> &'static str {
    match ending {
        "csv" => "text/csv",
        "parquet" => "application/vnd.apache.parquet",
        "zip" => "application/zip",
        "md" => "text/markdown",
        "cff" => "application/yaml",
        _ => "application/octet-stream",
    }
}

fn schema(table: &ExportTable) -> Value {
    let fields = table.columns.iter().map(|column| {
        let mut field = Map::new();
        field.insert("name".to_owned(), json!(column.name));
        field.insert("type".to_owned(), json!(type_word(&column.data_type)));
        field.insert("description".to_owned(), json!(column.description));
        if let Some(unit) = &column.unit {
            field.insert("unit".to_owned(), json!(unit));
        }
        if type_word(&column.data_type) == "boolean" {
            field.insert("trueValues".to_owned(), json!(["true"]));
            field.insert("falseValues".to_owned(), json!(["false"]));
        }
        let constraints = constraints_of(column);
        if !constraints.is_empty() {
            field.insert("constraints".to_owned(), Value::Object(constraints));
        }
        Value::Object(field)
    });
    let references = table.references.iter().map(|reference| {
        let Reference {
            columns,
            table,
            there,
        } = reference;
        json!({ "fields": columns, "reference": { "resource": table, "fields": there } })
    });
    json!({
        "$schema": SCHEMA_PROFILE,
        "fields": fields.collect::<Vec<_>>(),
        "missingValues": [""],
        "primaryKey": table.key,
        "foreignKeys": references.collect::<Vec<_>>(),
    })
}
