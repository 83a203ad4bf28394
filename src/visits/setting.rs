//! A value that a person sets in a record: `/field/area_ha=65`.

use serde_json::{Map, Value};

use scouting::failure::{Failure, Kind};
use scouting::visit::record::Visit;

/// Members that say which record it is; an edit keeps them.
const KEPT: [&str; 3] = ["/schema_version", "/visit_id", "/revision"];

/// A member and what it becomes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Setting {
    pointer: String,
    /// The text after the equals sign; `None` takes the member out.
    value: Option<String>,
}

impl Setting {
    /// Reads `/pointer=VALUE`.
    ///
    /// # Errors
    /// What is wrong with it.
    pub(crate) fn read(text: &str) -> Result<Setting, String> {
        let (pointer, value) = text
            .split_once('=')
            .ok_or_else(|| "write it as /field/area_ha=65".to_owned())?;
        Setting::of(pointer, Some(value.to_owned()))
    }

    /// Reads the pointer of a member that is to be taken out.
    ///
    /// # Errors
    /// What is wrong with it.
    pub(crate) fn removal(pointer: &str) -> Result<Setting, String> {
        Setting::of(pointer, None)
    }

    fn of(pointer: &str, value: Option<String>) -> Result<Setting, String> {
        if !pointer.starts_with('/') {
            return Err(format!(
                "{pointer:?} is no JSON Pointer: it begins with a slash, as /field/area_ha"
            ));
        }
        if KEPT.contains(&pointer) {
            return Err(format!(
                "{pointer} cannot be set: it says which record it is"
            ));
        }
        Ok(Setting {
            pointer: pointer.to_owned(),
            value,
        })
    }

    /// Sets the member in a record.
    fn apply(&self, record: &mut Value) -> Result<(), Failure> {
        let (parent, name) = self.pointer.rsplit_once('/').unwrap_or_default();
        let name = name.replace("~1", "/").replace("~0", "~");
        let Some(parent) = parent_of(record, parent) else {
            return Err(self.has_no_place(&format!("the record has no {parent}")));
        };
        match (parent, &self.value) {
            (Value::Object(members), Some(value)) => {
                let before = members.get(&name);
                let value = read_value(value, before);
                members.insert(name, value);
            }
            (Value::Object(members), None) => {
                if members.remove(&name).is_none() {
                    return Err(self.has_no_place("the record does not have it"));
                }
            }
            (Value::Array(items), value) => {
                let place = name
                    .parse::<usize>()
                    .ok()
                    .filter(|place| *place < items.len());
                let Some(place) = place else {
                    let what = format!("the list has {} items, counted from 0", items.len());
                    return Err(self.has_no_place(&what));
                };
                match value {
                    Some(value) => items[place] = read_value(value, Some(&items[place])),
                    None => drop(items.remove(place)),
                }
            }
            _ => return Err(self.has_no_place("a single value has no members")),
        }
        Ok(())
    }

    fn has_no_place(&self, what: &str) -> Failure {
        Failure::new(
            Kind::Settings,
            format!("cannot set {}: {what}", self.pointer),
        )
        .mend("`bractline visit show ID` shows every member with its pointer; nothing was changed")
    }
}

/// A record with the settings applied.
///
/// # Errors
/// If one of them has no place, or the record is none of a visit any more: the member is named.
pub(crate) fn with_settings(visit: &Visit, settings: &[Setting]) -> Result<Visit, Failure> {
    let refused = |error: serde_json::Error| {
        Failure::new(
            Kind::Settings,
            format!("cannot edit {}: {error}", visit.visit_id),
        )
        .mend("schemas/visit.schema.json lists the members and what they take; nothing was changed")
    };
    let mut record = serde_json::to_value(visit).map_err(refused)?;
    for setting in settings {
        setting.apply(&mut record)?;
    }
    serde_json::from_value(record).map_err(refused)
}

/// The object or list at a pointer; objects that are missing on the way are made.
fn parent_of<'a>(record: &'a mut Value, pointer: &str) -> Option<&'a mut Value> {
    let mut at = record;
    for step in pointer.split('/').skip(1) {
        let step = step.replace("~1", "/").replace("~0", "~");
        at = match at {
            Value::Object(members) => members
                .entry(step)
                .or_insert_with(|| Value::Object(Map::new())),
            Value::Array(items) => items.get_mut(step.parse::<usize>().ok()?)?,
            _ => return None,
        };
    }
    Some(at)
}

/// What a person wrote: text where a text was, else JSON if it is JSON, else text.
fn read_value(written: &str, before: Option<&Value>) -> Value {
    let is_quoted = written.starts_with('"');
    match before {
        Some(Value::String(_)) if !is_quoted => Value::String(written.to_owned()),
        _ => serde_json::from_str(written).unwrap_or_else(|_| Value::String(written.to_owned())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn visit() -> Visit {
        let text = r#"{"schema_version":"1.0","visit_id":"v-1","revision":2,"observed_on":"2026-07-21","submitted_at":"2026-07-21T23:30:00Z","observer_id":"007","field":{"field_id":"f-1","lon":-100.5,"lat":44.0,"area_ha":62.4,"crop_type":"oilseed"},"protocol":"bsm-eggs","crop_stage":"R5.1","sites":[{"site":1,"heads":[[0,1],[2]]}]}"#;
        serde_json::from_str(text).expect("a visit")
    }

    fn set(texts: &[&str]) -> Result<Visit, String> {
        let settings: Result<Vec<Setting>, String> =
            texts.iter().map(|text| Setting::read(text)).collect();
        with_settings(&visit(), &settings?).map_err(|failure| failure.to_string())
    }

    #[test]
    fn a_value_keeps_the_kind_of_the_one_before() {
        let edited = set(&[
            "/observer_id=008",
            "/field/area_ha=65",
            "/sites/0/heads/0/1=4",
            "/remarks=late",
            "/economics/plant_population/count=20000",
            "/economics/plant_population/per=acre",
        ])
        .expect("a record");
        assert_eq!(edited.observer_id, "008");
        assert_eq!(edited.field.area_ha, 65.0);
        assert_eq!(edited.remarks.as_deref(), Some("late"));
        assert!(edited.economics.plant_population.is_some());
        let heads = edited.sites[0].heads.as_ref().expect("heads");
        assert_eq!(heads.head(0)[1].0, 4);
        let removed = Setting::removal("/remarks").and_then(|setting| {
            with_settings(&edited, &[setting]).map_err(|failure| failure.to_string())
        });
        assert_eq!(removed.expect("a record").remarks, None);
    }

    #[test]
    fn what_has_no_place_is_refused() {
        for (wrong, reason) in [
            ("/visit_id=v-2", "says which record"),
            ("field=1", "no JSON Pointer"),
            ("/field", "write it as"),
            ("/field/colour=green", "colour"),
            ("/sites/3/site=1", "no /sites/3"),
            ("/sites/0/heads/0/9=1", "2 items"),
            ("/field/area_ha=large", "large"),
            ("/protocol/id=x", "no members"),
        ] {
            let refused = set(&[wrong]).expect_err(wrong);
            assert!(refused.contains(reason), "{wrong}: {refused}");
        }
    }
}
