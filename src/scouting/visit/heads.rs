//! Counts per bract or other part, head by head: what most of a record is made of.
//!
//! They are in one piece of memory, since a vector a head would cost more than the counts themselves, and are
//! read by a reader of their own where they are written as most programs do. It is no other grammar: what
//! the quick reader does not take, serde reads or refuses.

use std::fmt;

use serde::de::{DeserializeSeed, Deserializer, Error, SeqAccess, Visitor};
use serde::{Deserialize, Serialize, Serializer};
use serde_json::value::RawValue;

use super::count::Count;

/// Counts with fewer digits than this are certain to fit.
const DIGITS_OF_COUNT_MAX: u32 = 9;

/// The heads of a site, each with its counts, in order.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Heads {
    counts: Vec<Count>,
    /// Where each head ends among the counts.
    ends: Vec<u32>,
}

impl Heads {
    /// How many heads there are.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// Whether there is no head.
    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    /// The counts of each head.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = &[Count]> + Clone {
        (0..self.ends.len()).map(|place| self.head(place))
    }

    /// The counts of one head.
    ///
    /// # Panics
    /// If there is no such head.
    pub fn head(&self, place: usize) -> &[Count] {
        &self.counts[self.start(place)..self.end(place)]
    }

    /// The counts of all heads, one after the other.
    pub fn counts(&self) -> &[Count] {
        &self.counts
    }

    /// The counts of one head, to be changed.
    ///
    /// # Panics
    /// If there is no such head.
    pub fn head_mut(&mut self, place: usize) -> &mut [Count] {
        let (start, end) = (self.start(place), self.end(place));
        &mut self.counts[start..end]
    }

    fn start(&self, place: usize) -> usize {
        place.checked_sub(1).map_or(0, |before| self.end(before))
    }

    fn end(&self, place: usize) -> usize {
        self.ends[place] as usize
    }

    fn end_head(&mut self) {
        let end = u32::try_from(self.counts.len());
        self.ends
            .push(end.expect("a record is too short for so many counts"));
    }

    /// Reads heads in their usual form: whole numbers, and blanks at the most between them. `text` is JSON;
    /// `None` if it is anything but that.
    fn of_usual_form(text: &str) -> Option<Heads> {
        let mut heads = Heads {
            counts: Vec::with_capacity(text.len() / 2),
            ends: Vec::with_capacity(8),
        };
        let (mut depth, mut number, mut digits) = (0_u32, 0_u32, 0_u32);
        for byte in text.bytes() {
            match byte {
                b'0'..=b'9' if depth == 2 && digits < DIGITS_OF_COUNT_MAX => {
                    number = number * 10 + u32::from(byte - b'0');
                    digits += 1;
                }
                b',' | b']' if digits > 0 => {
                    heads.counts.push(Count(number));
                    (number, digits) = (0, 0);
                    if byte == b']' {
                        heads.end_head();
                        depth -= 1;
                    }
                }
                b',' | b' ' => {}
                b'[' if depth < 2 => depth += 1,
                b']' => {
                    if depth == 2 {
                        heads.end_head();
                    }
                    depth -= 1;
                }
                _ => return None,
            }
        }
        Some(heads)
    }
}

impl<H: AsRef<[Count]>> FromIterator<H> for Heads {
    fn from_iter<I: IntoIterator<Item = H>>(each: I) -> Heads {
        let mut heads = Heads::default();
        for head in each {
            heads.counts.extend_from_slice(head.as_ref());
            heads.end_head();
        }
        heads
    }
}

impl Serialize for Heads {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(self.iter())
    }
}

impl<'de> Deserialize<'de> for Heads {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Heads, D::Error> {
        deserializer.deserialize_seq(EachHead)
    }
}

/// Reads the member `heads` of a site: it is there, so it is no `null`. Only of text is there a raw text to
/// be read quickly.
pub(super) fn read_heads<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<Option<Heads>, D::Error> {
    if !deserializer.is_human_readable() {
        return Heads::deserialize(deserializer).map(Some);
    }
    let text = Box::<RawValue>::deserialize(deserializer)?;
    if let Some(heads) = Heads::of_usual_form(text.get()) {
        return Ok(Some(heads));
    }
    serde_json::from_str(text.get())
        .map(Some)
        .map_err(D::Error::custom)
}

struct EachHead;

impl<'de> Visitor<'de> for EachHead {
    type Value = Heads;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a list of heads")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut elements: A) -> Result<Heads, A::Error> {
        let mut heads = Heads::default();
        while elements.next_element_seed(NextHead(&mut heads))?.is_some() {}
        Ok(heads)
    }
}

/// Reads one head to the end of those that were read.
struct NextHead<'a>(&'a mut Heads);

impl<'de> DeserializeSeed<'de> for NextHead<'_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        deserializer.deserialize_seq(self)
    }
}

impl<'de> Visitor<'de> for NextHead<'_> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("the counts of a head")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut elements: A) -> Result<(), A::Error> {
        while let Some(count) = elements.next_element()? {
            self.0.counts.push(count);
        }
        self.0.end_head();
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[derive(Debug, Deserialize)]
    struct Site {
        #[serde(deserialize_with = "read_heads")]
        heads: Option<Heads>,
    }

    fn read(heads: &str) -> Option<Heads> {
        let site = serde_json::from_str::<Site>(&format!(r#"{{"heads":{heads}}}"#));
        site.ok()?.heads
    }

    fn of(heads: &[&[u32]]) -> Heads {
        let counts = |head: &&[u32]| head.iter().copied().map(Count).collect::<Vec<_>>();
        heads.iter().map(counts).collect()
    }

    #[test]
    fn heads_are_read_in_every_form_that_json_has() {
        let two = of(&[&[0, 12], &[3]]);
        for text in [
            "[[0,12],[3]]",
            "[[0, 12], [3]]",
            "[ [0,12] ,[3 ] ]",
            "[[0,\n12],[3]]",
            "[[0.0,1.2e1],[3]]",
        ] {
            assert_eq!(read(text).as_ref(), Some(&two), "{text}");
        }
        assert_eq!(read("[]"), Some(of(&[])));
        assert_eq!(read("[[],[7],[]]"), Some(of(&[&[], &[7], &[]])));
        assert_eq!(read("[[4294967295]]"), Some(of(&[&[u32::MAX]])));
    }

    #[test]
    fn what_is_no_heads_is_refused() {
        for text in [
            "null",
            "3",
            "[3]",
            "[[1],2]",
            "[[[1]]]",
            "[[-1]]",
            "[[0.5]]",
            "[[01]]",
            "[[1 2]]",
            "[[1,]]",
            "[[\"1\"]]",
            "[[4294967296]]",
            "[[1e999]]",
            "[[null]]",
            "{}",
        ] {
            assert_eq!(read(text), None, "{text}");
        }
    }

    proptest! {
        #[test]
        fn both_readers_agree(text in r"\[(\[([0-9]{1,11}|[ ,.e\-\[\]n]){0,12}\]?,? ?){0,4}\]?") {
            let slow = serde_json::from_str::<Heads>(&text).ok();
            prop_assert_eq!(read(&text), slow);
        }

        #[test]
        fn what_is_written_is_read(heads in prop::collection::vec(prop::collection::vec(0..2_000_000_u32, 0..8), 0..8)) {
            let heads: Heads = heads.iter().map(|head| head.iter().copied().map(Count).collect::<Vec<_>>()).collect();
            let text = serde_json::to_string(&heads).expect("numbers");
            prop_assert_eq!(read(&text), Some(heads));
        }
    }
}
