//! Headers that are often over the members of a visit, for the draft of a mapping.

use std::sync::LazyLock;

use regex::Regex;

use super::names::folded;

/// A member, with the whole headers by which it is known.
pub(in crate::mapping) struct Known {
    /// The member.
    pub to: &'static str,
    headers: &'static [&'static str],
    /// Lines of the field that a person completes.
    pub lines: &'static str,
    /// What a person must decide; empty if nothing.
    pub question: &'static str,
}

const fn known(
    to: &'static str,
    headers: &'static [&'static str],
    lines: &'static str,
    question: &'static str,
) -> Known {
    Known {
        to,
        headers,
        lines,
        question,
    }
}

const UNIT: &str = "unit = \"?\"\n";
const KNOWN: &[Known] = &[
    known("/visit_id", &["visit", "visit id", "record id"], "", ""),
    known(
        "/observed_on",
        &["date", "visit date", "date visited", "day", "observed on"],
        "format = \"?\"\n",
        "how dates are written: \"default\" is 2026-07-21, \"%m/%d/%Y\" is 7/21/2026",
    ),
    known(
        "/submitted_at",
        &["submitted", "submitted at", "date submitted", "entered"],
        "format = \"?\"\nutcOffset = \"?\"\n",
        "the format, and the offset of its clock, as \"-05:00\"",
    ),
    known(
        "/observer_id",
        &["scout", "observer", "observer id", "scout id", "initials"],
        "",
        "a pseudonym, never a name",
    ),
    known(
        "/field/field_id",
        &[
            "field",
            "field id",
            "fld",
            "field no",
            "field number",
            "field name",
        ],
        "",
        "",
    ),
    known(
        "/field/farm_id",
        &["farm", "farm id", "grower", "grower id"],
        "",
        "a pseudonym, never a name",
    ),
    known(
        "/field/county_id",
        &["county", "county id", "fips", "co"],
        "",
        "the id of the boundaries; zeroPad = 5 restores codes that lost zeros",
    ),
    known(
        "/field/lon",
        &["lon", "long", "longitude", "x"],
        "",
        "decimal degrees, west negative",
    ),
    known(
        "/field/lat",
        &["lat", "latitude", "y"],
        "",
        "decimal degrees",
    ),
    known(
        "/field/area_ha",
        &[
            "area",
            "acres",
            "ac",
            "field size",
            "size",
            "hectares",
            "ha",
        ],
        UNIT,
        "the unit: \"acre\" or \"ha\"",
    ),
    known(
        "/field/crop_type",
        &["type", "crop", "crop type", "hybrid type"],
        "",
        "a code list, as values = { \"Oil\" = \"oilseed\", \"Conf\" = \"confection\" }",
    ),
    known(
        "/crop_stage",
        &["stage", "crop stage", "growth stage", "gs"],
        "",
        "",
    ),
    known(
        "/protocol",
        &["protocol", "pest", "method"],
        "",
        "the id of the protocol, as bsm-eggs",
    ),
    known(
        "/economics/treatment_cost/amount",
        &["cost", "treatment cost", "spray cost", "trt cost"],
        UNIT,
        "the unit, as \"USD/acre\"",
    ),
    known(
        "/economics/market_value/amount",
        &["price", "market price", "market value", "value"],
        UNIT,
        "the unit, as \"USD/lb\" or \"USD/cwt\"",
    ),
    known(
        "/economics/plant_population/count",
        &[
            "population",
            "plants",
            "plant population",
            "stand",
            "plants per acre",
        ],
        UNIT,
        "the unit, as \"1/acre\" or \"10*3/acre\"",
    ),
    known(
        "/remarks",
        &["remarks", "comment", "comments", "notes", "note"],
        "",
        "remarks name no person",
    ),
    known(
        "/sites/{site}/site",
        &["site", "site no", "site number", "stop", "location"],
        "",
        "",
    ),
    known(
        "/sites/{site}/side",
        &["side", "edge", "field side"],
        "",
        "",
    ),
    known(
        "{head}",
        &["head", "bud", "head no", "bud no", "plant"],
        "",
        "",
    ),
    known("{bract}", &["bract", "bract no"], "", ""),
    known(
        "/sites/{site}/heads/{head}/{bract}",
        &["eggs", "egg count", "count", "no eggs"],
        "",
        "",
    ),
];

static UNIT_IN_HEADER: LazyLock<Regex> =
    LazyLock::new(|| Regex::new(r"\s*[(\[].*$").expect("a pattern of ours compiles"));

/// The member that a header is known to name, without regard to a unit in brackets.
pub(in crate::mapping) fn known_as(header: &str) -> Option<&'static Known> {
    let whole = folded(header).replace('_', " ");
    let bare = UNIT_IN_HEADER.replace(&whole, "");
    KNOWN.iter().find(|known| {
        known.headers.contains(&whole.as_str()) || known.headers.contains(&bare.as_ref())
    })
}
