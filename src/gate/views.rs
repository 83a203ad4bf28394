//! A text in every form in which somebody may read it: as it is, decoded, and as a page shows it.
//!
//! A name that is not in the bytes may be in the words: split by markup, written with entities or percent
//! escapes, or in characters that no screen shows. Each form is a text of its own.

use std::cell::RefCell;

use html5ever::buffer_queue::BufferQueue;
use html5ever::tendril::StrTendril;
use html5ever::tokenizer::{Token, TokenSink, TokenSinkResult, Tokenizer, TokenizerOpts};
use percent_encoding::percent_decode_str;
use pulldown_cmark::Parser;

use crate::shared::markdown::markdown_options;

/// How often a text is decoded: somebody may have encoded it that often.
const ROUNDS: usize = 4;
/// Marks where one block ends and the next begins, as a line end in a file.
const BLOCK_END: char = '\u{1e}';
/// Tags within a line of text. What they part is read as one word.
const INLINE: [&str; 22] = [
    "a", "abbr", "b", "bdi", "bdo", "cite", "code", "del", "em", "i", "ins", "kbd", "mark", "q",
    "s", "small", "span", "strong", "sub", "sup", "u", "wbr",
];

/// How a text is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Writing {
    /// HTML or XML.
    Markup,
    /// Markdown.
    Markdown,
    /// Anything else.
    Plain,
}

impl Writing {
    /// That of a file, by the end of its name.
    pub(super) fn of_file(name: &str) -> Writing {
        match name.rsplit_once('.') {
            Some((_, "html" | "xml" | "qml" | "svg")) => Writing::Markup,
            Some((_, "md")) => Writing::Markdown,
            _ => Writing::Plain,
        }
    }
}

/// Every form of a text, each once.
pub(super) fn views(text: &str, writing: Writing) -> Vec<String> {
    let mut views = Vec::new();
    match writing {
        // All of it but the drawings.
        Writing::Markup => views.extend(shown(text)),
        Writing::Markdown => {
            views.push(text.to_owned());
            let mut html = String::new();
            let events = Parser::new_ext(text, markdown_options());
            pulldown_cmark::html::push_html(&mut html, events);
            views.extend(shown(&html));
        }
        Writing::Plain => views.push(text.to_owned()),
    }
    // Of Markdown, of JSON and of a style: the escape is no part of the word.
    let plain = views.iter().filter(|view| view.contains('\\'));
    let plain: Vec<String> = plain.map(|view| view.replace('\\', "")).collect();
    views.extend(plain);
    views.extend(in_tags(text));
    let mut decoded = Vec::new();
    for view in &views {
        let mut last = view.clone();
        for _ in 0..ROUNDS {
            let next = decoded_once(&last);
            if next == last {
                break;
            }
            decoded.push(next.clone());
            last = next;
        }
    }
    views.extend(decoded);
    views.sort_unstable();
    views.dedup();
    views
}

/// Percent escapes and entities decoded, each once.
fn decoded_once(text: &str) -> String {
    let mut text = text.to_owned();
    if text.contains('%') {
        text = percent_decode_str(&text).decode_utf8_lossy().into_owned();
    }
    if text.contains('&') {
        // A tag ends at its opening sign: what is in it is decoded as well.
        text = tokens(&text.replace('<', " ")).0;
    }
    text
}

/// The text of a page without its tags, and, each on a line, what is in the tags and comments, but for the
/// figures of drawings.
fn shown(html: &str) -> [String; 2] {
    let (text, attributes) = tokens(html);
    [text, attributes]
}

/// The words of a page as it shows them, each block apart.
pub(super) fn words_shown(html: &str) -> String {
    tokens(html).0.replace(BLOCK_END, " ")
}

/// Whether an attribute's value is a path or a list of points (Scalable Vector Graphics 2, section 9.3): at least
/// three numbers, and no letter but those of drawing commands.
fn is_drawn(value: &str) -> bool {
    let is_figure = |c: char| c.is_ascii_digit() || c.is_ascii_whitespace() || ".,+-".contains(c);
    let is_command = |c: char| "MmLlHhVvCcSsQqTtAaZz".contains(c);
    let numbers = value.split(|c: char| !c.is_ascii_digit() && c != '.');
    let starts = |c: char| is_figure(c) || "Mm".contains(c);
    value.starts_with(starts)
        && value.chars().all(|c| is_figure(c) || is_command(c))
        && numbers.filter(|number| !number.is_empty()).count() >= 3
}

fn tokens(html: &str) -> (String, String) {
    let tokenizer = Tokenizer::new(Shown::default(), TokenizerOpts::default());
    let input = BufferQueue::default();
    input.push_back(StrTendril::from(html));
    let _ = tokenizer.feed(&input);
    tokenizer.end();
    (tokenizer.sink.text.take(), tokenizer.sink.attributes.take())
}

/// Letters that no screen shows: the tag characters of Unicode, read as the ASCII that they represent.
fn in_tags(text: &str) -> Option<String> {
    let ascii = |c: char| {
        let place = u32::from(c).checked_sub(0xe0000)?;
        u8::try_from(place).ok().map(char::from)
    };
    let hidden: String = text
        .chars()
        .filter(|c| matches!(c, '\u{e0020}'..='\u{e007e}'))
        .filter_map(ascii)
        .collect();
    (!hidden.is_empty()).then_some(hidden)
}

#[derive(Default)]
struct Shown {
    text: RefCell<String>,
    attributes: RefCell<String>,
}

impl TokenSink for Shown {
    type Handle = ();

    fn process_token(&self, token: Token, _line: u64) -> TokenSinkResult<()> {
        match token {
            // A line end within a paragraph is a space to its reader.
            Token::CharacterTokens(text) => {
                let text = text.replace(['\n', '\r'], " ");
                self.text.borrow_mut().push_str(&text);
            }
            Token::TagToken(tag) => {
                if !INLINE.contains(&&*tag.name) {
                    self.text.borrow_mut().push(BLOCK_END);
                }
                let mut attributes = self.attributes.borrow_mut();
                attributes.push_str(&tag.name);
                for attribute in &tag.attrs {
                    attributes.push('\n');
                    attributes.push_str(&attribute.name.local);
                    attributes.push('\n');
                    if !is_drawn(&attribute.value) {
                        attributes.push_str(&attribute.value);
                    }
                }
                attributes.push('\n');
            }
            Token::CommentToken(text) => {
                let mut attributes = self.attributes.borrow_mut();
                attributes.push_str(&text);
                attributes.push('\n');
            }
            _ => {}
        }
        TokenSinkResult::Continue
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn holds(text: &str, writing: Writing, word: &str) {
        let views = views(text, writing);
        assert!(views.iter().any(|view| view.contains(word)), "{views:?}");
    }

    #[test]
    fn a_word_is_found_however_it_was_written() {
        for text in [
            "seen in F-AAA**111**",
            "seen in F\\-AAA111",
            "seen in F-AAA&#49;11",
            "seen in F&#x2D;AAA111",
            "seen in F&amp;#45;AAA111",
            "[map](https://example.org/F%2DAAA111)",
            "[map](https://example.org/F%252DAAA111)",
            "[map](https://example.org/F&#37;2DAAA111)",
            "[*F*-`AAA111`](https://example.org)",
            "seen in \u{e0046}\u{e002d}\u{e0041}\u{e0041}\u{e0041}\u{e0031}\u{e0031}\u{e0031}",
        ] {
            holds(text, Writing::Markdown, "F-AAA111");
        }
        for text in [
            "<p>F-<b>AAA</b>111",
            "<a title='F-AAA111'>",
            "<!-- F-AAA111 -->",
            "F&hyphen;AAA111".replace("&hyphen;", "&#x2d;").as_str(),
        ] {
            holds(text, Writing::Markup, "F-AAA111");
        }
    }

    #[test]
    fn a_drawing_is_no_text_and_all_else_is() {
        let page = "<svg viewBox='0 0 46013 1'><path d='M12.345 67L-8.9,10z' class='F-AAA111' data-f-aaa112=''/></svg>\
                    <!doctype F-AAA113><?F-AAA114?><x-f-aaa115><script>\"F-AAA116\"</script>";
        let views = views(page, Writing::Markup);
        let all = views.join("\n").to_lowercase();
        assert!(!all.contains("12.345") && !all.contains("46013"), "{all}");
        for number in [111, 112, 114, 115, 116] {
            assert!(all.contains(&format!("f-aaa{number}")), "{number}: {all}");
        }
    }

    #[test]
    fn cells_of_a_table_are_not_one_word() {
        for view in views("<td>F-AAA</td><td>111</td>", Writing::Markup) {
            assert!(!view.contains("F-AAA111"), "{view}");
        }
    }
}
