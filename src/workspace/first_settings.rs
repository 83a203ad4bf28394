//! The settings file of a new workspace.

use super::RegionSettings;
use scouting::visit::rules::doubts::CODES;

/// The settings file of a new workspace: every setting, its default and what it does.
pub(super) fn settings_text(region: &RegionSettings, store_place: &str) -> String {
    let text = |value: &str| toml::Value::from(value).to_string();
    format!(
        r#"# Settings of this workspace. Every setting with its default.

[region]
# The counties: "us:46" or "us:20,31" (US states by their two-digit code, boundaries of 2017), or the
# name of a GeoJSON or TopoJSON file in this folder.
boundaries = {boundaries}
# Where the boundary file keeps a county's id and name; not used with "us:".
id_property = {id_property}
name_property = {name_property}
# Counties whose fields are too few to publish are taken together by district. Where the boundary file keeps a county's
# district; empty if it has none. Or name them here, which comes before the file:
# [region.districts]
# "North" = ["001", "003"]
district_property = {district_property}

[store]
# Location of the tables. Empty: the folder "store" next to this file. Or a bucket, as "s3://bucket/prefix", whose
# region and keys come from the environment (AWS_REGION, AWS_ACCESS_KEY_ID, AWS_SECRET_ACCESS_KEY …).
place = {place}
# Whether others of the office may use the folder "store". false: only its owner may enter it. true: it gets the
# permissions of this folder, and the umask decides about the files in it.
shared = false

[season]
# Visits outside these days of the year are held. Month and day, both included.
first_day = "06-01"
last_day = "09-30"
# A visit of an earlier year that is submitted more than 120 days later is held, unless its year is named here, as
# [2024, 2025]: for old seasons that are loaded on purpose.
earlier = []

[week]
# The day on which weeks start: those of an office that issues on Thursday at noon may start on "Thursday" and end on
# Wednesday, so that an alert has a whole week. A week has the name of the ISO week with most of its days (2026-W32) and
# on pages that of its last day. A season has one kind of week: change it before the first alert of a season.
starts = "Monday"

[disclosure]
# What is published of how many fields. "survey": counts by county, for offices whose growers agreed to that. "strict":
# intervals in place of counts, as statistical offices publish. A workspace can go from survey to strict, and not back
# within a season: the two together would tell more than either.
level = "survey"
# A row is published with so many fields of so many farms or more, none of which has more than half of the fields. With
# two fields each grower computes the other's figure, so three is the least. Fields that name no farm add no farm; in a
# season in which no visit names one, more fields are needed. These can be raised, not lowered.
min_fields = 3
min_farms = 3
min_fields_without_farms = 5
# Width of the grid of published points, in kilometers: 5, 10, 20 or 40. A point is moved to the middle of its cell.
# Once an alert is issued, the width may be raised and not lowered.
point_grid_km = 10.0

[calls]
# A field is called at its threshold, or below it, if that is so with this probability; else it is undetermined. Above 0.5
# and below 1. With 0.95 fewer calls are wrong, and about a third more fields are undetermined.
certainty = 0.9

# Economics by crop type, assumed for records that lack them; a record that still lacks one is held. What was
# assumed is marked in the visit's row, counted in every county-week and said in the alert. None by default:
# [defaults.oilseed]
# treatment_cost = {{ amount = 8.0, per = "acre", currency = "USD" }}
# market_value = {{ amount = 0.16, per = "lb", currency = "USD" }}
# plant_population = {{ count = 20000, per = "acre" }}

[weather]
# Daily minimum and maximum temperatures, a file in this folder: GHCN-Daily CSV, or plain CSV with the columns
# date, tmin_c, tmax_c (or tmin_f, tmax_f) and, where it holds several stations, station. Without it the days
# of treatment are based on the day ranges of the protocol, and the alert says so:
# file = "weather.csv"
# The unit of columns named tmin and tmax (TMIN, TMAX), which do not say theirs: "F" or "C". It is never guessed:
# temperature_unit = "F"
# Seasons are also compared by accumulated degree-days: those of the protocol's crop, summed from this day
# of the year. Every day from it must have temperatures, or the sum is not given.
heat_from = "01-01"
# The station of each county by its id; "*" means every other one. A file of one station serves all:
# [weather.stations]
# "*" = "STATION-1"

[flags]
# A flag marks a visit, which counts all the same. A visit with a flag that is named here is held instead:
# {flags}.
hold = []

# Senders who number their fields or scouts alike are kept apart by what is put before their ids, from the first load
# of a season on. A sender is named as load --sender, its mapping or its folder names it. None by default:
# [senders."North office"]
# field_prefix = "N-"
# scout_prefix = "N-"

[units]
# Units that pages, texts, count sheets, cards and plans show: "us" (acres, feet, price per hundredweight, °F) or
# "metric" (hectares, meters, price per kilogram, °C). Tables and data files keep hectares, kilograms and °C.
system = "us"

[office]
# Printed at the top and at the foot of the alert.
name = ""
contact = ""
# A line or two of the office's own for the foot of every alert.
footer = ""
# An SVG or PNG file in this folder, of 40,000 bytes at the most, without scripts, links and metadata. Empty: no logo.
logo = ""

[publish]
# Address of the folder that `bractline publish` fills, with a slash at its end, as
# "https://example.org/alerts/": the feed then links by it. Empty: links are relative.
base_url = ""
# Title of the list and the feed of alerts. Empty: "Scouting alerts".
title = ""
# Who publishes, for the feed. Empty: the name of the office.
author = ""

[data]
# License of the packages that `bractline export` makes: its identifier as SPDX lists it, such as "CC-BY-4.0", and
# where its text is. Empty: the package says that it is not stated.
license = ""
license_url = ""
# How packages are cited: the DOI under which they are deposited, such as "10.5281/zenodo.5171937" (no address around it),
# who funded the work, and the number of the grant. All may be empty.
doi = ""
funder = ""
award = ""
# Authors, in their order, each with an ORCID iD if there is one. None: the office is the author.
# [[data.creators]]
# given_names = "Josiah"
# family_names = "Carberry"
# orcid = "0000-0002-1825-0097"
"#,
        boundaries = text(&region.boundaries),
        id_property = text(&region.id_property),
        place = text(store_place),
        name_property = text(&region.name_property),
        district_property = text(&region.district_property),
        flags = CODES.join(", "),
    )
}
