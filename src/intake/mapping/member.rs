//! The members of a visit record that a mapping may fill, and what each of them takes.
//!
//! A member is named by its JSON Pointer (RFC 6901) with placeholders for the places in lists:
//! `/sites/{site}/heads/{head}/{bract}`. A placeholder stands for the number that a sheet gives to
//! the site, the head or the bract, which a column may hold by itself (`{head}`).

use scouting::visit::record::{AMOUNT_MAX, CountForm};

/// A member of the visit record, or the number of a unit or bract.
#[derive(Debug, PartialEq)]
pub(super) struct Member {
    /// JSON Pointer with placeholders, or a placeholder alone.
    pub pointer: &'static str,
    /// How often it stands in a visit.
    pub level: Level,
    /// What it takes.
    pub kind: Kind,
    /// Whether a record without it is refused; for the unit of an amount: whether an amount without it is.
    pub required: bool,
    /// What a sender should write, in words.
    pub expected: &'static str,
}

/// How often a member stands in a visit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Level {
    /// Once a visit.
    Visit,
    /// Once a site.
    Site,
    /// Once a unit: the nights of a trap.
    Unit,
    /// What is counted.
    Count,
    /// The number of a unit or a bract, no member itself.
    Index,
}

/// What a member takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A short text.
    Text,
    /// A text of any kind.
    Remarks,
    /// A day.
    Day,
    /// A point in time.
    Instant,
    /// Yes or no.
    Truth,
    /// A GeoJSON Polygon.
    Outline,
    /// A whole number.
    Whole,
    /// A number with a unit.
    Number(Quantity),
}

/// What a number measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Quantity {
    /// Degrees of longitude.
    Longitude,
    /// Degrees of latitude.
    Latitude,
    /// Hectares.
    Area,
    /// Money for each acre or hectare.
    MoneyPerArea,
    /// Money for each pound or kilogram.
    MoneyPerWeight,
    /// Plants on each acre or hectare.
    PlantsPerArea,
}

impl Quantity {
    /// What the schema takes, both ends included.
    pub fn range(self) -> (f64, f64) {
        match self {
            Quantity::Longitude => (-180.0, 180.0),
            Quantity::Latitude => (-90.0, 90.0),
            _ => (0.0, AMOUNT_MAX),
        }
    }

    /// Whether it is a place on the earth.
    pub fn is_angle(self) -> bool {
        matches!(self, Quantity::Longitude | Quantity::Latitude)
    }
}

/// Whether the member says only of what an amount is: `per` and `currency` mean nothing alone.
pub(super) fn is_unit_of_amount(member: &Member) -> bool {
    member.pointer.ends_with("/per") || member.pointer.ends_with("/currency")
}

const fn member(
    pointer: &'static str,
    level: Level,
    kind: Kind,
    required: bool,
    expected: &'static str,
) -> Member {
    Member {
        pointer,
        level,
        kind,
        required,
        expected,
    }
}

const COUNT: &str = "a whole number from 0 to 1,000,000";
const ID: &str = "a short text: 1 to 200 characters on one line";
const MONEY: &str = "an amount of money above 0, as a plain number";

/// Every member, in the order of the record.
pub(super) static MEMBERS: [Member; 39] = {
    use Kind::*;
    use Level::*;
    use Quantity::*;
    [
        member("/schema_version", Visit, Text, false, "the text 1.0"),
        member("/visit_id", Visit, Text, true, ID),
        member(
            "/revision",
            Visit,
            Whole,
            false,
            "a whole number, 1 for a first submission",
        ),
        member(
            "/observed_on",
            Visit,
            Day,
            true,
            "the day of the visit, as 2026-07-21",
        ),
        member(
            "/submitted_at",
            Visit,
            Instant,
            true,
            "a time with its zone, as 2026-07-21T18:03:00Z",
        ),
        member("/observer_id", Visit, Text, true, ID),
        member("/field/field_id", Visit, Text, true, ID),
        member(
            "/field/lon",
            Visit,
            Number(Longitude),
            true,
            "decimal degrees, west negative, as -100.12345",
        ),
        member(
            "/field/lat",
            Visit,
            Number(Latitude),
            true,
            "decimal degrees, south negative, as 44.12345",
        ),
        member(
            "/field/area_ha",
            Visit,
            Number(Area),
            true,
            "an area above 0, as a plain number",
        ),
        member(
            "/field/crop_type",
            Visit,
            Text,
            true,
            "a type of crop, as oilseed",
        ),
        member("/field/farm_id", Visit, Text, false, ID),
        member("/field/county_id", Visit, Text, false, ID),
        member(
            "/field/outline",
            Visit,
            Outline,
            false,
            "a GeoJSON Polygon, with type and coordinates alone",
        ),
        member(
            "/protocol",
            Visit,
            Text,
            true,
            "the id of a protocol, as bsm-eggs",
        ),
        member(
            "/crop_stage",
            Visit,
            Text,
            true,
            "a crop stage, as R3 or R5.1",
        ),
        member(
            "/economics/treatment_cost/amount",
            Visit,
            Number(MoneyPerArea),
            false,
            MONEY,
        ),
        member(
            "/economics/treatment_cost/per",
            Visit,
            Text,
            true,
            "acre or ha",
        ),
        member(
            "/economics/treatment_cost/currency",
            Visit,
            Text,
            true,
            "an ISO 4217 code, as USD",
        ),
        member(
            "/economics/market_value/amount",
            Visit,
            Number(MoneyPerWeight),
            false,
            MONEY,
        ),
        member("/economics/market_value/per", Visit, Text, true, "lb or kg"),
        member(
            "/economics/market_value/currency",
            Visit,
            Text,
            true,
            "an ISO 4217 code, as USD",
        ),
        member(
            "/economics/plant_population/count",
            Visit,
            Number(PlantsPerArea),
            false,
            "plants on an area, above 0, as a plain number",
        ),
        member(
            "/economics/plant_population/per",
            Visit,
            Text,
            true,
            "acre or ha",
        ),
        member(
            "/remarks",
            Visit,
            Remarks,
            false,
            "a text of at most 4,000 characters",
        ),
        member("/retracted", Visit, Truth, false, "true or false"),
        member(
            "/sites/{site}/site",
            Site,
            Whole,
            false,
            "the number of the site, a whole number from 1 on",
        ),
        member("/sites/{site}/side", Site, Text, false, ID),
        member(
            "/sites/{site}/lon",
            Site,
            Number(Longitude),
            false,
            "decimal degrees, west negative, as -100.12345",
        ),
        member(
            "/sites/{site}/lat",
            Site,
            Number(Latitude),
            false,
            "decimal degrees, south negative, as 44.12345",
        ),
        member(
            "/sites/{site}/heads/{head}/{bract}",
            Count,
            Whole,
            false,
            COUNT,
        ),
        member("/sites/{site}/plants/{plant}", Count, Whole, false, COUNT),
        member(
            "/sites/{site}/traps/{trap}/catch",
            Count,
            Whole,
            false,
            COUNT,
        ),
        member(
            "/sites/{site}/traps/{trap}/nights",
            Unit,
            Whole,
            false,
            "nights, a whole number from 1 to 366",
        ),
        member("{head}", Index, Text, false, "the number of the head"),
        member("{plant}", Index, Text, false, "the number of the plant"),
        member("{trap}", Index, Text, false, "the number of the trap"),
        member("{bract}", Index, Text, false, "the number of the bract"),
        member(
            "{unit}",
            Index,
            Text,
            false,
            "the number of the unit: head, plant or trap",
        ),
    ]
};

/// The placeholders of a pointer that a header or a column may fill.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Keys {
    /// The site, as the sheet calls it.
    pub site: Option<String>,
    /// The head, plant or trap, as the sheet calls it.
    pub unit: Option<String>,
    /// The bract, as the sheet calls it.
    pub part: Option<String>,
}

impl Keys {
    /// The key that a placeholder's name stands for.
    pub fn slot(&mut self, placeholder: &str) -> Option<&mut Option<String>> {
        match placeholder {
            "site" => Some(&mut self.site),
            "head" | "plant" | "trap" | "unit" => Some(&mut self.unit),
            "bract" => Some(&mut self.part),
            _ => None,
        }
    }
}

/// The member that `to` names, with the numbers that stand in it in place of placeholders.
pub(super) fn find(to: &str) -> Option<(&'static Member, Keys)> {
    MEMBERS
        .iter()
        .find_map(|member| Some((member, keys_in(member.pointer, to)?)))
}

fn keys_in(pointer: &str, to: &str) -> Option<Keys> {
    let (steps, given): (Vec<&str>, Vec<&str>) =
        (pointer.split('/').collect(), to.split('/').collect());
    let mut keys = Keys::default();
    for (step, given) in steps.iter().zip(&given) {
        let is_number = !given.is_empty() && given.bytes().all(|letter| letter.is_ascii_digit());
        match placeholder(step) {
            _ if step == given => {}
            // A placeholder alone is the column that holds the number.
            Some(name) if is_number && steps.len() > 1 => {
                *keys.slot(name)? = Some((*given).to_owned());
            }
            _ => return None,
        }
    }
    (steps.len() == given.len()).then_some(keys)
}

/// The name within braces.
pub(super) fn placeholder(step: &str) -> Option<&str> {
    step.strip_prefix('{')?.strip_suffix('}')
}

/// A member by its exact pointer, which must exist.
pub(super) fn exactly(pointer: &str) -> &'static Member {
    MEMBERS
        .iter()
        .find(|member| member.pointer == pointer)
        .expect("the pointer is one of ours")
}

impl Member {
    /// The placeholders of the pointer, in order.
    pub fn placeholders(&self) -> impl Iterator<Item = &'static str> {
        self.pointer.split('/').filter_map(placeholder)
    }

    /// The form of counts that the member belongs to.
    pub fn count_form(&self) -> Option<CountForm> {
        [CountForm::Heads, CountForm::Plants, CountForm::Traps]
            .into_iter()
            .find(|form| {
                self.pointer
                    .starts_with(&format!("/sites/{{site}}/{}/", form.member()))
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_may_stand_for_a_placeholder() {
        let (member, keys) = find("/sites/2/heads/{head}/6").expect("a known pointer");
        assert_eq!(member.pointer, "/sites/{site}/heads/{head}/{bract}");
        assert_eq!(keys.site.as_deref(), Some("2"));
        assert_eq!(
            (keys.unit.as_deref(), keys.part.as_deref()),
            (None, Some("6"))
        );
        for wrong in [
            "/field",
            "/field/name",
            "/sites/x/site",
            "7",
            "/sites/{head}/site",
            "",
            "/",
        ] {
            assert!(find(wrong).is_none(), "{wrong}");
        }
    }
}
