//! What JSON is accepted for our types: no more than JSON Schema allows.
//!
//! serde is more forgiving than the schema; the pieces here take that back.

use serde::de::{Error, IntoDeserializer, Unexpected, Visitor};
use serde::{Deserialize, Deserializer, forward_to_deserialize_any};

/// A whole number from 0 to `u32::MAX`; `3.0` is one, as JSON Schema has it.
pub(super) fn whole<'de, D: Deserializer<'de>>(deserializer: D) -> Result<u32, D::Error> {
    struct Whole;

    impl Visitor<'_> for Whole {
        type Value = u32;

        fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
            f.write_str("a whole number, 0 or more")
        }

        fn visit_u64<E: Error>(self, value: u64) -> Result<u32, E> {
            u32::try_from(value).map_err(|_| E::invalid_value(Unexpected::Unsigned(value), &self))
        }

        fn visit_i64<E: Error>(self, value: i64) -> Result<u32, E> {
            u32::try_from(value).map_err(|_| E::invalid_value(Unexpected::Signed(value), &self))
        }

        fn visit_f64<E: Error>(self, value: f64) -> Result<u32, E> {
            let is_whole = value.fract() == 0.0 && (0.0..=f64::from(u32::MAX)).contains(&value);
            // The range was checked, so the cast is exact.
            is_whole
                .then_some(value as u32)
                .ok_or_else(|| E::invalid_value(Unexpected::Float(value), &self))
        }
    }

    deserializer.deserialize_u32(Whole)
}

/// An optional member that is there must not be `null`.
pub(super) fn present<'de, D: Deserializer<'de>, T: Deserialize<'de>>(
    deserializer: D,
) -> Result<Option<T>, D::Error> {
    T::deserialize(deserializer).map(Some)
}

/// Reads what serde derives, but as JSON Schema has it: a struct from an object alone, where serde
/// would also take a list of its members in order, and a unit from a text alone, where serde would
/// also take `{"acre": null}`.
pub(super) struct Strict<D>(pub(super) D);

impl<'de, D: Deserializer<'de>> Deserializer<'de> for Strict<D> {
    type Error = D::Error;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, D::Error> {
        self.0.deserialize_any(visitor)
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _name: &'static str,
        _members: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, D::Error> {
        self.0.deserialize_map(visitor)
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _name: &'static str,
        _variants: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, D::Error> {
        visitor.visit_enum(String::deserialize(self.0)?.into_deserializer())
    }

    forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf
        option unit unit_struct newtype_struct seq tuple tuple_struct map identifier ignored_any
    }
}
