//! JSON read without forgiving: a member that occurs twice in an object is reported.
//!
//! serde_json keeps the last of two members without a word; RFC 7493 (I-JSON) demands unique names.

use serde::de::{DeserializeSeed, Deserializer, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Number, Value};

/// Places of repeated members that are kept; a record with more is no oversight.
const REPEATED_MAX: usize = 100;

/// A JSON value and the pointers of the members that occurred more than once in it.
pub struct StrictValue {
    /// The value, with the last of repeated members.
    pub value: Value,
    /// JSON Pointers of repeated members, the first hundred of them.
    pub repeated: Vec<String>,
}

/// Reads a value.
///
/// # Errors
/// Those of serde_json: syntax, numbers out of range, more than 127 levels of nesting.
pub fn strict_value(text: &str) -> Result<StrictValue, serde_json::Error> {
    let mut place = Place::default();
    let mut deserializer = serde_json::Deserializer::from_str(text);
    let value = (&mut place).deserialize(&mut deserializer)?;
    deserializer.end()?;
    Ok(StrictValue {
        value,
        repeated: place.repeated,
    })
}

/// One step of a JSON Pointer (RFC 6901).
pub(crate) fn pointer_step(name: &str) -> String {
    format!("/{}", name.replace('~', "~0").replace('/', "~1"))
}

/// Where the reader is in the document, and what it met on the way.
#[derive(Default)]
struct Place {
    steps: Vec<Step>,
    repeated: Vec<String>,
}

enum Step {
    Member(String),
    Element(usize),
}

impl Place {
    /// Written out only when it is needed: at every member it would cost as much as the record.
    fn pointer(&self) -> String {
        self.steps
            .iter()
            .map(|step| match step {
                Step::Member(name) => pointer_step(name),
                Step::Element(number) => format!("/{number}"),
            })
            .collect()
    }
}

impl<'de> DeserializeSeed<'de> for &mut Place {
    type Value = Value;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Value, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for &mut Place {
    type Value = Value;

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a JSON value")
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
        Ok(Value::Bool(value))
    }

    fn visit_u64<E>(self, value: u64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_i64<E>(self, value: i64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_f64<E>(self, value: f64) -> Result<Value, E> {
        Ok(Number::from_f64(value).map_or(Value::Null, Value::Number))
    }

    fn visit_str<E>(self, value: &str) -> Result<Value, E> {
        Ok(Value::String(value.to_owned()))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut elements: A) -> Result<Value, A::Error> {
        let mut values = Vec::new();
        loop {
            self.steps.push(Step::Element(values.len()));
            let element = elements.next_element_seed(&mut *self)?;
            self.steps.pop();
            match element {
                Some(value) => values.push(value),
                None => return Ok(Value::Array(values)),
            }
        }
    }

    fn visit_map<A: MapAccess<'de>>(self, mut members: A) -> Result<Value, A::Error> {
        let mut object = Map::new();
        while let Some(name) = members.next_key::<String>()? {
            self.steps.push(Step::Member(name.clone()));
            let value = members.next_value_seed(&mut *self)?;
            if object.insert(name, value).is_some() && self.repeated.len() < REPEATED_MAX {
                self.repeated.push(self.pointer());
            }
            self.steps.pop();
        }
        Ok(Value::Object(object))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn repeated_members_are_found_at_any_depth() {
        let read = strict_value(r#"{"a":1,"a":2,"b":[{"c/d":1,"c/d":1}]}"#).unwrap();
        assert_eq!(read.repeated, ["/a", "/b/0/c~1d"]);
        assert_eq!(read.value["a"], 2);
    }

    #[test]
    fn what_is_not_json_is_an_error_and_no_crash() {
        for text in [
            "",
            "NaN",
            "{\"a\":NaN}",
            "1e999",
            "{} {}",
            "\"\\ud800\"",
            &"[".repeat(10_000),
        ] {
            assert!(strict_value(text).is_err(), "{:.20}", text);
        }
    }
}
