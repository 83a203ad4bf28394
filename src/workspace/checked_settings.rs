//! Checks of the settings, beyond the form that their types have.

use super::credits::{is_doi, is_orcid};
use super::settings::{SETTINGS_FILE, Settings};
use disclosure::rule::Rule;
use intake::mapping::id_prefixes::prefix_mistake;
use scouting::failure::{Failure, Kind};
use scouting::visit::rules::doubts::CODES;

/// Refuses settings that nothing can be made of, with the line to write.
pub(super) fn check_settings(settings: &Settings) -> Result<(), Failure> {
    check_disclosure(settings)?;
    check_calls(settings)?;
    check_flags(settings)?;
    check_senders(settings)?;
    check_defaults(settings)?;
    check_publish(settings)?;
    check_data(settings)
}

/// Form and range alone; whether an amount is plausible a protocol says, when the defaults are used.
fn check_defaults(settings: &Settings) -> Result<(), Failure> {
    let mut defaults = settings.defaults.iter();
    defaults
        .find(|(_, economics)| !economics.conforms())
        .map_or(Ok(()), |(crop_type, _)| {
            Err(Failure::new(
                Kind::Settings,
                format!(
                    "[defaults.{crop_type}] has an amount or a currency that no record may have"
                ),
            )
            .at(SETTINGS_FILE)
            .mend("write amounts above 0, and currencies as three capital letters: USD"))
        })
}

fn check_publish(settings: &Settings) -> Result<(), Failure> {
    let base_url = &settings.publish.base_url;
    let is_folder = base_url.starts_with("https://") || base_url.starts_with("http://");
    match base_url.is_empty() || (is_folder && base_url.ends_with('/')) {
        true => Ok(()),
        false => Err(Failure::new(
            Kind::Settings,
            format!("[publish] base_url = {base_url:?} is no address of a folder"),
        )
        .at(SETTINGS_FILE)
        .mend("write it from https:// to its last slash: https://example.org/alerts/")),
    }
}

fn check_data(settings: &Settings) -> Result<(), Failure> {
    let data = &settings.data;
    let is_name = |c: char| c.is_ascii_alphanumeric() || "-._".contains(c);
    let is_address = |url: &str| url.starts_with("https://") || url.starts_with("http://");
    let wrong = |what: String, mend: &str| {
        let failure = Failure::new(Kind::Settings, format!("[data] {what}"));
        Err(failure.at(SETTINGS_FILE).mend(mend))
    };
    if !data.license.chars().all(is_name) {
        let what = format!("license = {:?} is no identifier", data.license);
        return wrong(
            what,
            "write the identifier of SPDX, such as CC-BY-4.0, and its address in license_url",
        );
    }
    let url = &data.license_url;
    if !url.is_empty() && (!is_address(url) || data.license.is_empty()) {
        let what = format!("license_url = {url:?} is no address, or there is no license to it");
        return wrong(
            what,
            "write license, and where its text is from https:// on",
        );
    }
    if !data.doi.is_empty() && !is_doi(&data.doi) {
        let what = format!("doi = {:?} is no DOI", data.doi);
        return wrong(
            what,
            "write it from 10. on, without an address: 10.5281/zenodo.5171937",
        );
    }
    if data.funder.is_empty() && !data.award.is_empty() {
        let what = format!("award = {:?} names no funder", data.award);
        return wrong(what, "write in funder whose grant it is");
    }
    for creator in &data.creators {
        if creator.given_names.trim().is_empty() || creator.family_names.trim().is_empty() {
            return wrong(
                "creators has an author without a name".to_owned(),
                "write given_names and family_names of each [[data.creators]]",
            );
        }
        if !creator.orcid.is_empty() && !is_orcid(&creator.orcid) {
            let what = format!(
                "creators: orcid = {:?} of {} is no ORCID iD, or its last character does not fit the others",
                creator.orcid,
                creator.name()
            );
            return wrong(
                what,
                "copy it from the author's page on orcid.org: four times four digits, as 0000-0002-1825-0097",
            );
        }
    }
    Ok(())
}

fn check_calls(settings: &Settings) -> Result<(), Failure> {
    let certainty = settings.calls.certainty;
    match 0.5 < certainty && certainty < 1.0 {
        true => Ok(()),
        false => Err(Failure::new(
            Kind::Settings,
            format!("[calls] certainty = {certainty} is no probability that a call could need"),
        )
        .at(SETTINGS_FILE)
        .mend("write a number above 0.5 and below 1: 0.9, or 0.95 for fewer wrong calls and more undetermined fields")),
    }
}

fn check_flags(settings: &Settings) -> Result<(), Failure> {
    let held = &settings.flags.hold;
    let unknown = held.iter().find(|code| !CODES.contains(code));
    unknown.map_or(Ok(()), |code| {
        Err(Failure::new(
            Kind::Settings,
            format!("unknown flag {:?} in [flags] hold", code.as_str()),
        )
        .at(SETTINGS_FILE)
        .mend(format!("the flags are {}", CODES.join(", "))))
    })
}

fn check_senders(settings: &Settings) -> Result<(), Failure> {
    let prefixes = settings.senders.iter().flat_map(|(name, sender)| {
        [
            (name, "field_prefix", &sender.field_prefix),
            (name, "scout_prefix", &sender.scout_prefix),
        ]
    });
    for (name, key, prefix) in prefixes.filter(|(_, _, prefix)| !prefix.is_empty()) {
        if let Some(mend) = prefix_mistake(prefix) {
            let what = format!("[senders.{name:?}] {key} = {prefix:?} is no prefix");
            return Err(Failure::new(Kind::Settings, what)
                .at(SETTINGS_FILE)
                .mend(mend));
        }
    }
    Ok(())
}

fn check_disclosure(settings: &Settings) -> Result<(), Failure> {
    let disclosure = &settings.disclosure;
    let least = Rule::LEAST;
    for (name, value, least) in [
        ("min_fields", disclosure.min_fields, least.min_fields),
        ("min_farms", disclosure.min_farms, least.min_farms),
        (
            "min_fields_without_farms",
            disclosure.min_fields_without_farms,
            least.min_fields_without_farms,
        ),
    ] {
        if value < least {
            let what = format!("[disclosure] {name} = {value} is too small");
            return Err(Failure::new(Kind::Settings, what)
                .at(SETTINGS_FILE)
                .mend(format!(
                    "write {least} or more: these settings can be raised, not lowered"
                )));
        }
    }
    Ok(())
}

/// Month and day of a setting such as `06-01`.
pub(super) fn day_of_year(name: &str, text: &str) -> Result<(i8, i8), Failure> {
    // 2024 is a leap year, so that 02-29 is a day.
    format!("2024-{text}")
        .parse::<jiff::civil::Date>()
        .ok()
        .filter(|_| text.len() == 5)
        .map(|day| (day.month(), day.day()))
        .ok_or_else(|| {
            Failure::new(Kind::Settings, format!("{name} = {text:?} is not a day"))
                .at(SETTINGS_FILE)
                .mend("write month and day, as 06-01")
        })
}
