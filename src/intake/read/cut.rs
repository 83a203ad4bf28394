//! Cuts a JSON text into records while it is read: the elements of arrays, and documents that come
//! one after the other, in flat memory.
//!
//! It follows strings and brackets and nothing else, so a record that is no JSON is cut out and
//! judged like any other, and does not spoil its neighbors. A line feed ends a string: none may
//! be in one, so it was not closed.

/// Where the cutter is between two bytes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
enum Place {
    /// Outside any array, before a document.
    #[default]
    Outside,
    /// In a document outside any array.
    Document,
    /// In an array; `several` once a comma was met.
    Array { several: bool },
}

/// What a byte did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cut {
    /// It is not part of a record.
    Between,
    /// It belongs to the record.
    Inside,
    /// It belongs to the record and ends it.
    Last,
    /// It is not part of the record, which ended before it.
    After,
}

/// Finds the ends of records, a byte at a time.
#[derive(Debug, Default)]
pub(crate) struct Cutter {
    place: Place,
    depth: usize,
    in_string: bool,
    escaped: bool,
}

impl Cutter {
    /// Takes the next byte; `empty` says that the record has no byte yet.
    pub(crate) fn take(&mut self, byte: u8, empty: bool) -> Cut {
        if self.in_string {
            self.take_in_string(byte);
            return Cut::Inside;
        }
        match self.place {
            Place::Outside => self.take_outside(byte),
            Place::Document => self.take_in_document(byte),
            Place::Array { several } => self.take_in_array(byte, empty, several),
        }
    }

    /// Whether the text may not end here: an array is open, so its last record is cut off.
    pub(crate) fn is_open(&self) -> bool {
        matches!(self.place, Place::Array { .. })
    }

    fn take_in_string(&mut self, byte: u8) {
        match byte {
            b'\n' => self.in_string = false,
            _ if self.escaped => self.escaped = false,
            b'\\' => self.escaped = true,
            b'"' => self.in_string = false,
            _ => {}
        }
    }

    fn take_outside(&mut self, byte: u8) -> Cut {
        match byte {
            b' ' | b'\t' | b'\r' | b'\n' => Cut::Between,
            b'[' => {
                self.place = Place::Array { several: false };
                Cut::Between
            }
            _ => {
                self.place = Place::Document;
                self.follow(byte);
                Cut::Inside
            }
        }
    }

    fn take_in_document(&mut self, byte: u8) -> Cut {
        self.follow(byte);
        let ended = self.depth == 0 && matches!(byte, b'}' | b']' | b'\n');
        if !ended {
            return Cut::Inside;
        }
        self.place = Place::Outside;
        match byte {
            b'\n' => Cut::After,
            _ => Cut::Last,
        }
    }

    fn take_in_array(&mut self, byte: u8, empty: bool, several: bool) -> Cut {
        match byte {
            b',' if self.depth == 0 => {
                self.place = Place::Array { several: true };
                Cut::After
            }
            b']' if self.depth == 0 => {
                self.place = Place::Outside;
                // `[]` has no record; what comes after a comma should be one.
                if empty && !several {
                    Cut::Between
                } else {
                    Cut::After
                }
            }
            b' ' | b'\t' | b'\r' | b'\n' if empty => Cut::Between,
            _ => {
                self.follow(byte);
                Cut::Inside
            }
        }
    }

    fn follow(&mut self, byte: u8) {
        match byte {
            b'"' => {
                self.in_string = true;
                self.escaped = false;
            }
            b'{' | b'[' => self.depth += 1,
            b'}' | b']' => self.depth = self.depth.saturating_sub(1),
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn records(text: &str) -> Vec<String> {
        let mut cutter = Cutter::default();
        let mut records = Vec::new();
        let mut record = Vec::new();
        for byte in text.bytes() {
            let cut = cutter.take(byte, record.is_empty());
            if matches!(cut, Cut::Inside | Cut::Last) {
                record.push(byte);
            }
            if matches!(cut, Cut::Last | Cut::After) {
                records.push(std::mem::take(&mut record));
            }
        }
        if cutter.is_open() || !record.is_empty() {
            records.push(record);
        }
        records
            .iter()
            .map(|record| String::from_utf8_lossy(record).trim_end().to_owned())
            .collect()
    }

    #[test]
    fn elements_and_documents_are_cut_where_they_end() {
        for (text, expected) in [
            ("[]", &[][..]),
            (" [ ] \n", &[]),
            (
                "[1, {\"a\":[1,2]} ,\"],\\\"\"]",
                &["1", "{\"a\":[1,2]}", "\"],\\\"\""],
            ),
            (
                "{\n \"a\": 1\n}\n{\"b\":2}{}",
                &["{\n \"a\": 1\n}", "{\"b\":2}", "{}"],
            ),
            ("[[[1]]]\n{}", &["[[1]]", "{}"]),
            ("[NaN,{]", &["NaN", "{]"]),
            ("[{\"a\":NaN},{}]", &["{\"a\":NaN}", "{}"]),
            ("[{\"a\":\"b\n},{}]", &["{\"a\":\"b\n}", "{}"]),
            ("[1,]", &["1", ""]),
            ("[,1]", &["", "1"]),
            ("[1", &["1"]),
            ("[1,", &["1", ""]),
            ("[", &[""]),
            ("[1] rest\n[2]", &["1", "rest", "2"]),
            ("", &[]),
        ] {
            assert_eq!(records(text), expected, "{text}");
        }
    }
}
