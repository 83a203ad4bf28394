//! The words of a PDF as the gate reads them: those of its pages, and its title, outline and descriptions.
//!
//! Reads the kind of PDF that an alert is (ISO 32000-1: objects one after the other, streams of a stated length, letters by
//! their Unicode numbers), and refuses any other: what cannot be read cannot be judged.

use std::io::Read;

use flate2::read::ZlibDecoder;

use scouting::failure::Cause;

/// What a PDF of words needs none of: programs, files, deeds on opening.
const ACTIVE: [&str; 10] = [
    "AA",
    "EmbeddedFile",
    "EmbeddedFiles",
    "Encrypt",
    "JS",
    "JavaScript",
    "Launch",
    "ObjStm",
    "OpenAction",
    "RichMedia",
];
/// A stream that unpacks to more is refused.
const UNPACKED_MAX: u64 = 64 * 1024 * 1024;

/// A word of the format.
#[derive(Debug, Clone, PartialEq)]
enum Token {
    Name(String),
    Text(Vec<u8>),
    /// A number, an operator, a bracket.
    Word(String),
}

/// An object: its number, what it says, and its stream, unpacked.
struct Object {
    number: String,
    tokens: Vec<Token>,
    stream: Option<Vec<u8>>,
}

/// All words of a PDF.
///
/// # Errors
/// Why it cannot be read, or what it has besides pages.
pub fn words_of_pdf(bytes: &[u8]) -> Result<String, Cause> {
    let objects = objects_of(bytes)?;
    let mut of_all = objects.iter().flat_map(|object| &object.tokens);
    let active = of_all.find_map(|token| match token {
        Token::Name(name) if ACTIVE.contains(&name.as_str()) => Some(name),
        _ => None,
    });
    if let Some(name) = active {
        return Err(format!("it has a part {name:?} besides its pages").into());
    }
    let pages: Vec<&str> = objects
        .iter()
        .filter_map(|object| value_of(&object.tokens, "Contents"))
        .collect();
    let mut words = String::new();
    // In the order of the pages.
    for page in &pages {
        let content = objects.iter().find(|object| object.number == *page);
        let content = content.and_then(|object| object.stream.as_deref());
        words_of_page(content.ok_or("a page has no content")?, &mut words)?;
    }
    for object in objects.iter() {
        for token in &object.tokens {
            if let Token::Text(text) = token {
                words.push('\n');
                words.push_str(&text_of(text));
            }
        }
        let name = |key| value_of(&object.tokens, key);
        match (name("Type"), &object.stream) {
            (Some("Metadata"), Some(stream)) => {
                words.push('\n');
                words.push_str(std::str::from_utf8(stream)?);
            }
            (Some("CMap"), Some(stream)) => check_codes(stream)?,
            (Some("Font"), _)
                if name("Subtype") == Some("Type0") && name("Encoding") != Some("Identity-H") =>
            {
                return Err("a font has letters under other numbers than Unicode's".into());
            }
            _ => {}
        }
    }
    Ok(words)
}

fn objects_of(bytes: &[u8]) -> Result<Vec<Object>, Cause> {
    if !bytes.starts_with(b"%PDF-1.") {
        return Err("it is no PDF file".into());
    }
    let mut reader = Reader { bytes, at: 0 };
    let mut objects = Vec::new();
    loop {
        let number = match reader.next()? {
            Some(Token::Word(word)) if word == "xref" => return Ok(objects),
            Some(Token::Word(number)) => number,
            _ => return Err("it has no end".into()),
        };
        let start = [reader.next()?, reader.next()?];
        if start[1] != Some(Token::Word("obj".to_owned())) {
            return Err(format!("an object is expected where {number:?} is").into());
        }
        let mut object = Object {
            number,
            tokens: Vec::new(),
            stream: None,
        };
        loop {
            match reader.next()? {
                Some(Token::Word(word)) if word == "endobj" => break,
                Some(Token::Word(word)) if word == "stream" => {
                    let packed = reader.stream(value_of(&object.tokens, "Length"))?;
                    object.stream = Some(match value_of(&object.tokens, "Filter") {
                        None => packed.to_vec(),
                        Some("FlateDecode") => unpacked(packed)?,
                        Some(other) => return Err(format!("it is packed by {other:?}").into()),
                    });
                }
                Some(Token::Word(word)) if word == "endstream" => {}
                Some(token) => object.tokens.push(token),
                None => return Err("it is cut off".into()),
            }
        }
        objects.push(object);
    }
}

fn unpacked(packed: &[u8]) -> Result<Vec<u8>, Cause> {
    let mut bytes = Vec::new();
    let mut decoder = ZlibDecoder::new(packed).take(UNPACKED_MAX);
    decoder.read_to_end(&mut bytes)?;
    match bytes.len() as u64 {
        UNPACKED_MAX => Err("it unpacks to too much".into()),
        _ => Ok(bytes),
    }
}

/// The word or name after a key of a dictionary.
fn value_of<'a>(tokens: &'a [Token], key: &str) -> Option<&'a str> {
    let is_key = |token: &Token| matches!(token, Token::Name(name) if name == key);
    match tokens.get(tokens.iter().position(is_key)? + 1)? {
        Token::Name(value) | Token::Word(value) => Some(value),
        Token::Text(_) => None,
    }
}

/// The words of a page; each mark of its structure on a line.
fn words_of_page(content: &[u8], words: &mut String) -> Result<(), Cause> {
    let mut reader = Reader {
        bytes: content,
        at: 0,
    };
    let mut last: Option<Vec<u8>> = None;
    while let Some(token) = reader.next()? {
        if let Token::Word(word) = &token {
            match (word.as_str(), last.take()) {
                ("Tj", Some(text)) => words.push_str(&utf16(&text)),
                ("EMC", _) => words.push('\n'),
                ("TJ" | "'" | "\"" | "BI", _) => {
                    return Err(format!("a page shows text by {word:?}").into());
                }
                _ => {}
            }
        }
        if let Token::Text(text) = token {
            last = Some(text);
        }
    }
    Ok(())
}

/// A table of codes leads from each to the letter of the same number.
fn check_codes(table: &[u8]) -> Result<(), Cause> {
    let mut reader = Reader {
        bytes: table,
        at: 0,
    };
    let mut pair: Option<Vec<u8>> = None;
    let mut inside = false;
    while let Some(token) = reader.next()? {
        match token {
            Token::Word(word) => match word.as_str() {
                "beginbfchar" => inside = true,
                "endbfchar" => inside = false,
                "beginbfrange" => return Err("a font has a range of other letters".into()),
                _ => {}
            },
            Token::Text(code) if inside => match pair.take() {
                Some(before) if before != code => {
                    return Err("a font shows a letter and gives another".into());
                }
                Some(_) => {}
                None => pair = Some(code),
            },
            _ => {}
        }
    }
    Ok(())
}

/// Text outside of the pages: UTF-16 after its mark, else letters of one byte.
fn text_of(text: &[u8]) -> String {
    match text.strip_prefix(&[0xfe, 0xff]) {
        Some(text) => utf16(text),
        None => text.iter().copied().map(char::from).collect(),
    }
}

fn utf16(text: &[u8]) -> String {
    let codes: Vec<u16> = text
        .chunks_exact(2)
        .map(|pair| u16::from_be_bytes([pair[0], pair[1]]))
        .collect();
    String::from_utf16_lossy(&codes)
}

/// Bytes, read word by word.
struct Reader<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Reader<'a> {
    fn peek(&self) -> Option<u8> {
        self.bytes.get(self.at).copied()
    }

    fn next(&mut self) -> Result<Option<Token>, Cause> {
        while let Some(byte) = self.peek() {
            match byte {
                b'%' => {
                    let rest = &self.bytes[self.at..];
                    let end = rest.iter().position(|byte| matches!(byte, b'\n' | b'\r'));
                    self.at += end.unwrap_or(rest.len());
                }
                _ if is_space(byte) => self.at += 1,
                _ => break,
            }
        }
        let Some(byte) = self.peek() else {
            return Ok(None);
        };
        self.at += 1;
        Ok(Some(match byte {
            b'(' => Token::Text(self.literal()?),
            b'<' if self.peek() == Some(b'<') => {
                self.at += 1;
                Token::Word("<<".to_owned())
            }
            b'<' => Token::Text(self.hexadecimal()?),
            b'/' => Token::Name(self.regular()),
            b'>' | b'[' | b']' | b'{' | b'}' => Token::Word(char::from(byte).to_string()),
            _ => {
                self.at -= 1;
                let word = self.regular();
                if word.is_empty() {
                    return Err(format!("a byte {byte} is out of place").into());
                }
                Token::Word(word)
            }
        }))
    }

    fn regular(&mut self) -> String {
        let rest = &self.bytes[self.at..];
        let ends = |byte: &u8| is_space(*byte) || b"()<>[]{}/%".contains(byte);
        let length = rest.iter().position(ends).unwrap_or(rest.len());
        self.at += length;
        String::from_utf8_lossy(&rest[..length]).into_owned()
    }

    /// After its opening bracket.
    fn literal(&mut self) -> Result<Vec<u8>, Cause> {
        let mut text = Vec::new();
        let mut open = 1;
        loop {
            let byte = self.peek().ok_or("a text has no end")?;
            self.at += 1;
            match byte {
                b'(' => open += 1,
                b')' => open -= 1,
                b'\\' => {
                    text.push(self.escaped()?);
                    continue;
                }
                _ => {}
            }
            if open == 0 {
                return Ok(text);
            }
            text.push(byte);
        }
    }

    fn escaped(&mut self) -> Result<u8, Cause> {
        let byte = self.peek().ok_or("a text has no end")?;
        self.at += 1;
        Ok(match byte {
            b'n' => b'\n',
            b'r' => b'\r',
            b't' => b'\t',
            b'b' => 8,
            b'f' => 12,
            b'0'..=b'7' => {
                let mut value = u32::from(byte - b'0');
                for _ in 0..2 {
                    if let Some(digit @ b'0'..=b'7') = self.peek() {
                        value = value * 8 + u32::from(digit - b'0');
                        self.at += 1;
                    }
                }
                u8::try_from(value)?
            }
            other => other,
        })
    }

    /// After its opening bracket.
    fn hexadecimal(&mut self) -> Result<Vec<u8>, Cause> {
        let rest = &self.bytes[self.at..];
        let end = rest.iter().position(|byte| *byte == b'>');
        let digits = &rest[..end.ok_or("a text has no end")?];
        self.at += digits.len() + 1;
        let digits = std::str::from_utf8(digits)?;
        if !digits.len().is_multiple_of(2) || !digits.is_ascii() {
            return Err("a text has half a byte".into());
        }
        let pairs = (0..digits.len()).step_by(2);
        pairs
            .map(|at| Ok(u8::from_str_radix(&digits[at..at + 2], 16)?))
            .collect()
    }

    /// The bytes after the word `stream` and its line end.
    fn stream(&mut self, length: Option<&str>) -> Result<&'a [u8], Cause> {
        let length: usize = length.ok_or("a stream has no length")?.parse()?;
        if self.peek() == Some(b'\r') {
            self.at += 1;
        }
        self.at += 1;
        let bytes = self.bytes.get(self.at..self.at + length);
        self.at += length;
        Ok(bytes.ok_or("a stream is cut off")?)
    }
}

fn is_space(byte: u8) -> bool {
    matches!(byte, 0 | b'\t' | b'\n' | 12 | b'\r' | b' ')
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pdf(page: &str, more: &str) -> Vec<u8> {
        format!(
            "%PDF-1.7\n%\u{e4}\n\n1 0 obj\n<</Type/Page/Contents 2 0 R>>\nendobj\n2 0 obj\n<</Length {}>>\nstream\n{page}\nendstream\nendobj\n{more}\nxref\n0 1\n",
            page.len()
        )
        .into_bytes()
    }

    #[test]
    fn pages_titles_and_descriptions_are_read_however_they_are_written() {
        let page = "/Span <</MCID 0>> BDC BT /R 9 Tf 1 2 Td (\\000F\\000\\050\\000\\)) Tj ET EMC\n/Span<</MCID 1>>BDC<004100df>Tj EMC";
        let more = "3 0 obj\n<</Title(a \\(b\\) (c) \\101)/Alt<FEFF00480161>>>\nendobj";
        assert_eq!(
            words_of_pdf(&pdf(page, more)).expect("words"),
            "F()\nAß\n\na (b) (c) A\nHš"
        );
    }

    #[test]
    fn what_is_no_page_or_cannot_be_read_is_refused() {
        let object = |text: &str| pdf("", &format!("3 0 obj\n{text}\nendobj"));
        for (bytes, why) in [
            (
                object("<</OpenAction<</S/JavaScript/JS(app)>>>>"),
                "OpenAction",
            ),
            (
                object("<</Names<</EmbeddedFiles 4 0 R>>>>"),
                "EmbeddedFiles",
            ),
            (
                object("<</Type/Font/Subtype/Type0/Encoding/Other>>"),
                "Unicode",
            ),
            (
                object("<</Length 3/Filter/LZWDecode>>\nstream\nabc\nendstream"),
                "LZWDecode",
            ),
            (pdf("[(\\000A) 20 (\\000B)] TJ", ""), "TJ"),
            (b"GIF89a".to_vec(), "no PDF"),
            (pdf("", "3 0 obj (abc"), "no end"),
        ] {
            let found = words_of_pdf(&bytes).map_err(|cause| cause.to_string());
            assert!(
                found.as_ref().is_err_and(|said| said.contains(why)),
                "{why}: {found:?}"
            );
        }
        let table = "1 beginbfchar\n<0041> <0042>\nendbfchar";
        let more = format!(
            "3 0 obj\n<</Type/CMap/Length {}>>\nstream\n{table}\nendstream\nendobj",
            table.len()
        );
        assert!(words_of_pdf(&pdf("", &more)).is_err());
    }
}
