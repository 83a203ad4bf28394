//! JSON read without forgiving: a member that stands twice in an object is reported.
//!
//! serde_json keeps the last of two members without a word; RFC 7493 (I-JSON) demands unique names.

use serde::de::{DeserializeSeed, Deserializer, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Number, Value};

/// A JSON value and the pointers of the members that stood more than once in it.
pub struct StrictValue {
    /// The value, with the last of repeated members.
    pub value: Value,
    /// JSON Pointers of repeated members.
    pub repeated: Vec<String>,
}

/// Reads a value.
///
/// # Errors
/// Those of serde_json: syntax, numbers out of range, more than 127 levels of nesting.
pub fn strict_value(text: &str) -> Result<StrictValue, serde_json::Error> {
    let mut repeated = Vec::new();
    let mut deserializer = serde_json::Deserializer::from_str(text);
    let place = Place {
        pointer: String::new(),
        repeated: &mut repeated,
    };
    let value = place.deserialize(&mut deserializer)?;
    deserializer.end()?;
    Ok(StrictValue { value, repeated })
}

/// One step of a JSON Pointer (RFC 6901).
pub fn pointer_step(name: &str) -> String {
    format!("/{}", name.replace('~', "~0").replace('/', "~1"))
}

/// Where the reader stands in the document.
struct Place<'a> {
    pointer: String,
    repeated: &'a mut Vec<String>,
}

impl Place<'_> {
    fn member(&mut self, name: &str) -> Place<'_> {
        Place {
            pointer: format!("{}{}", self.pointer, pointer_step(name)),
            repeated: self.repeated,
        }
    }
}

impl<'de> DeserializeSeed<'de> for Place<'_> {
    type Value = Value;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Value, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Place<'_> {
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

    fn visit_seq<A: SeqAccess<'de>>(mut self, mut elements: A) -> Result<Value, A::Error> {
        let mut values = Vec::new();
        loop {
            let place = self.member(&values.len().to_string());
            match elements.next_element_seed(place)? {
                Some(value) => values.push(value),
                None => return Ok(Value::Array(values)),
            }
        }
    }

    fn visit_map<A: MapAccess<'de>>(mut self, mut members: A) -> Result<Value, A::Error> {
        let mut object = Map::new();
        while let Some(name) = members.next_key::<String>()? {
            let place = self.member(&name);
            let pointer = place.pointer.clone();
            let value = members.next_value_seed(place)?;
            if object.insert(name, value).is_some() {
                self.repeated.push(pointer);
            }
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
