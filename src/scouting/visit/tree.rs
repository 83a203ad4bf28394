//! A JSON value as serde reads it, without its being printed first.
//!
//! `serde_json` reads a value too, but hands out a raw text of it by printing; this reading says that it is no
//! text, so that [`super::heads`] takes the counts as they are.

use serde::de::value::{MapDeserializer, SeqDeserializer};
use serde::de::{IntoDeserializer, Visitor};
use serde::{Deserialize, Deserializer, forward_to_deserialize_any};
use serde_json::{Error, Value};

use super::record::Visit;

impl Visit {
    /// Reads a visit from a JSON value, as strictly as from text.
    ///
    /// # Errors
    /// Where a member is missing, not known or of another type.
    pub fn of_value(value: &Value) -> Result<Visit, Error> {
        <Visit as Deserialize>::deserialize(Tree(value))
    }
}

#[derive(Clone, Copy)]
struct Tree<'de>(&'de Value);

impl<'de> IntoDeserializer<'de, Error> for Tree<'de> {
    type Deserializer = Self;

    fn into_deserializer(self) -> Self {
        self
    }
}

impl<'de> Deserializer<'de> for Tree<'de> {
    type Error = Error;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Error> {
        match self.0 {
            Value::Array(items) => {
                let mut items = SeqDeserializer::new(items.iter().map(Tree));
                let read = visitor.visit_seq(&mut items)?;
                items.end().map(|()| read)
            }
            Value::Object(members) => {
                let members = members.iter();
                let mut members =
                    MapDeserializer::new(members.map(|(name, value)| (name.as_str(), Tree(value))));
                let read = visitor.visit_map(&mut members)?;
                members.end().map(|()| read)
            }
            Value::String(text) => visitor.visit_borrowed_str(text),
            scalar => scalar.deserialize_any(visitor),
        }
    }

    /// An object alone is one: [`super::reading::Strict`] counts on it.
    fn deserialize_map<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Error> {
        match self.0 {
            Value::Object(_) => self.deserialize_any(visitor),
            other => other.deserialize_map(visitor),
        }
    }

    /// Whether the format is text, in serde's words.
    fn is_human_readable(&self) -> bool {
        false
    }

    forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf
        option unit unit_struct newtype_struct seq tuple tuple_struct struct enum identifier
        ignored_any
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_is_read_as_its_text_is() {
        let examples = include_str!("../../../schemas/visit.examples.json");
        let examples: Vec<Value> = serde_json::from_str(examples).unwrap();
        let mut read = 0;
        for document in examples
            .iter()
            .filter_map(|example| example.get("document"))
        {
            let of_text = serde_json::from_str::<Visit>(&document.to_string());
            let of_value = Visit::of_value(document);
            read += usize::from(of_value.is_ok());
            assert_eq!(of_value.ok(), of_text.ok(), "{document}");
        }
        assert!(read > 20, "{read}");
    }
}
