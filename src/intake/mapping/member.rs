//! How a mapping names the members of a visit record: [`scouting::visit::members`] by pointer, with keys for places.

pub(in crate::mapping) use scouting::visit::members::{
    Kind, Level, MEMBERS, Member, Quantity, placeholder,
};

/// Whether the member says only of what an amount is: `per` and `currency` mean nothing alone.
pub(in crate::mapping) fn is_unit_of_amount(member: &Member) -> bool {
    member.pointer.ends_with("/per") || member.pointer.ends_with("/currency")
}

/// The placeholders of a pointer that a header or a column may fill.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(in crate::mapping) struct Keys {
    /// The site, as the sheet calls it.
    pub site: Option<String>,
    /// The head, plant or trap, as the sheet calls it.
    pub unit: Option<String>,
    /// The bract, as the sheet calls it.
    pub part: Option<String>,
}

impl Keys {
    /// The key that a placeholder's name refers to.
    pub(crate) fn slot(&mut self, placeholder: &str) -> Option<&mut Option<String>> {
        match placeholder {
            "site" => Some(&mut self.site),
            "head" | "plant" | "trap" | "unit" => Some(&mut self.unit),
            "bract" => Some(&mut self.part),
            _ => None,
        }
    }
}

/// Whether two placeholders are for the same place: a head, a plant and a trap are units of a site.
pub(in crate::mapping) fn is_same_place(one: &str, other: &str) -> bool {
    let is_unit = |name: &str| matches!(name, "head" | "plant" | "trap" | "unit");
    one == other || is_unit(one) && is_unit(other)
}

/// The member that `to` names, with the numbers that are in it in place of placeholders.
pub(in crate::mapping) fn find(to: &str) -> Option<(&'static Member, Keys)> {
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

/// A member by its exact pointer, which must exist.
pub(in crate::mapping) fn exactly(pointer: &str) -> &'static Member {
    MEMBERS
        .iter()
        .find(|member| member.pointer == pointer)
        .expect("the pointer is one of ours")
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;
    use crate::judge::validate::VISIT_SCHEMA;
    use crate::mapping::MAPPING_SCHEMA;
    use scouting::visit::record::Visit;

    fn parsed(schema: &str) -> Value {
        serde_json::from_str(schema).expect("our own schema is JSON")
    }

    fn pointers(levels: &[Level]) -> Vec<&'static str> {
        let of_levels = MEMBERS
            .iter()
            .filter(|member| levels.contains(&member.level));
        of_levels.map(|member| member.pointer).collect()
    }

    #[test]
    fn the_schema_of_mappings_lists_the_members_of_the_table() {
        let schema = parsed(MAPPING_SCHEMA);
        let fixed = [Level::Visit, Level::Site, Level::Unit];
        for (list, levels) in [
            (
                "/properties/rows/properties/visitKey/items/enum",
                &fixed[..1],
            ),
            (
                "/properties/rows/properties/siteKey/items/enum",
                &fixed[1..2],
            ),
            (
                "/properties/visitId/properties/from/items/enum",
                &fixed[..1],
            ),
            ("/properties/constant/propertyNames/enum", &fixed[..]),
            ("/$defs/target/anyOf/0/enum", &fixed[..1]),
        ] {
            let listed = schema.pointer(list).expect("a list of members");
            assert_eq!(
                *listed,
                json!(pointers(levels)),
                "schemas/mapping.schema.json, {list}"
            );
        }
    }

    /// The schema at a place, with what it refers to.
    fn followed<'a>(schema: &'a Value, at: &'a Value) -> &'a Value {
        let reference = at.get("$ref").and_then(Value::as_str);
        let place = reference.and_then(|reference| reference.strip_prefix('#'));
        place.map_or(at, |place| {
            schema.pointer(place).expect("a reference of our own")
        })
    }

    /// The members that hold a value, in the pointers of the table, each with its schema.
    fn leaves<'a>(
        schema: &'a Value,
        at: &'a Value,
        pointer: &str,
        found: &mut Vec<(String, &'a Value)>,
    ) {
        let at = followed(schema, at);
        if let Some(items) = at.get("items") {
            let place = match pointer.rsplit('/').next() {
                Some("sites") => "{site}",
                Some("heads") => "{head}",
                Some("plants") => "{plant}",
                Some("traps") => "{trap}",
                _ => "{bract}",
            };
            return leaves(schema, items, &format!("{pointer}/{place}"), found);
        }
        match at.get("properties").and_then(Value::as_object) {
            Some(members) if pointer != "/field/outline" => {
                for (name, member) in members {
                    leaves(schema, member, &format!("{pointer}/{name}"), found);
                }
            }
            _ => found.push((pointer.to_owned(), at)),
        }
    }

    #[test]
    fn the_schema_of_visits_has_the_members_of_the_table_and_their_ranges() {
        let schema = parsed(VISIT_SCHEMA);
        let mut found = Vec::new();
        leaves(&schema, &schema, "", &mut found);
        let mut in_schema: Vec<&str> = found.iter().map(|(pointer, _)| pointer.as_str()).collect();
        let mut in_table = pointers(&[Level::Visit, Level::Site, Level::Unit, Level::Count]);
        in_schema.sort_unstable();
        in_table.sort_unstable();
        assert_eq!(
            in_schema, in_table,
            "schemas/visit.schema.json and visit/members.rs"
        );
        for (pointer, at) in &found {
            let Kind::Number(quantity) = exactly(pointer).kind else {
                continue;
            };
            let least = at.get("minimum").or_else(|| at.get("exclusiveMinimum"));
            let range = [least, at.get("maximum")].map(|end| end.and_then(Value::as_f64));
            let (low, high) = quantity.range();
            assert_eq!(range, [Some(low), Some(high)], "{pointer}");
        }
    }

    fn sample(member: &Member) -> Value {
        match (member.kind, member.pointer) {
            (_, "/schema_version") => json!("1.0"),
            (_, "/economics/market_value/per") => json!("kg"),
            (_, "/treatment") => json!("insecticide"),
            (_, pointer) if pointer.ends_with("/per") => json!("ha"),
            (_, pointer) if pointer.ends_with("/currency") => json!("USD"),
            (Kind::Text | Kind::Remarks, _) => json!("x"),
            (Kind::Day, _) => json!("2026-07-21"),
            (Kind::Instant, _) => json!("2026-07-21T18:03:00Z"),
            (Kind::Truth, _) => json!(true),
            (Kind::Outline, _) => {
                json!({"type": "Polygon", "coordinates": [[[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 0.0]]]})
            }
            (Kind::Whole, _) => json!(1),
            (Kind::Number(_), _) => json!(1.5),
        }
    }

    #[test]
    fn the_types_hold_every_member_of_the_table() {
        let mut record = json!({"field": {}, "sites": [{"traps": [{"catch": 0, "nights": 1}]}],
            "economics": {"treatment_cost": {}, "market_value": {}, "plant_population": {}}});
        let of_record = |member: &&Member| matches!(member.level, Level::Visit | Level::Site);
        for member in MEMBERS.iter().filter(of_record) {
            let pointer = member.pointer.replace("{site}", "0");
            let (parent, name) = pointer.rsplit_once('/').expect("a pointer");
            record.pointer_mut(parent).expect("an object")[name] = sample(member);
        }
        let read =
            Visit::of_value(&record).unwrap_or_else(|error| panic!("visit/record.rs: {error}"));
        assert!(read.conforms(), "{read:?}");
        assert_eq!(
            serde_json::to_value(&read).expect("JSON"),
            record,
            "visit/record.rs"
        );
    }

    #[test]
    fn a_number_may_replace_a_placeholder() {
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
