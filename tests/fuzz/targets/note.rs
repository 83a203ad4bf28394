//! Notes in Markdown: what is shown holds no element, attribute or link but those that a note may have.

use std::cell::RefCell;

use bractline::alert::note::rendered::Note;
use html5ever::buffer_queue::BufferQueue;
use html5ever::tendril::StrTendril;
use html5ever::tokenizer::{Token, TokenSink, TokenSinkResult, Tokenizer, TokenizerOpts};

use super::desk::reported;

/// Elements of a note, as the page's own description has them.
const ELEMENTS: [&str; 22] = [
    "a",
    "blockquote",
    "br",
    "code",
    "em",
    "h3",
    "h4",
    "h5",
    "h6",
    "hr",
    "li",
    "ol",
    "p",
    "pre",
    "strong",
    "table",
    "tbody",
    "td",
    "th",
    "thead",
    "tr",
    "ul",
];

/// Looks at one note.
pub fn look(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let Some(note) = reported(Note::read(text)) else {
        return;
    };
    hold_html(note.html());
    assert!(!note.markdown().contains('\r'));
    // The Markdown is shown by other programs, which know the CommonMark that the page was made of.
    let again = Note::read(note.markdown());
    let shown = again.as_ref().map(Note::html).map_err(ToString::to_string);
    assert_eq!(
        shown,
        Ok(note.html()),
        "read again, it shows something else: {:?}",
        note.markdown()
    );
}

/// Reads the page's piece as a browser does (WHATWG, section 13.2.5), tag by tag.
pub fn hold_html(html: &str) {
    let seen = Tags::default();
    let tokenizer = Tokenizer::new(seen, TokenizerOpts::default());
    let input = BufferQueue::default();
    input.push_back(StrTendril::from(html));
    let _ = tokenizer.feed(&input);
    tokenizer.end();
    for tag in tokenizer.sink.0.take() {
        let Tag { name, attributes } = &tag;
        assert!(ELEMENTS.contains(&&**name), "{tag:?} in {html}");
        for (attribute, value) in attributes {
            match (&**name, &**attribute) {
                ("a", "href") => {
                    let scheme = value.split(':').next().unwrap_or_default();
                    let scheme = scheme.to_ascii_lowercase();
                    assert!(
                        matches!(&*scheme, "http" | "https" | "mailto") && value.contains(':'),
                        "{tag:?} in {html}"
                    );
                    assert!(!value.contains(char::is_control), "{tag:?}");
                }
                // The words over a link, as plain text.
                ("a", "title") => {}
                ("a", "rel") => assert_eq!(value, "nofollow noopener noreferrer"),
                _ => panic!("{tag:?} in {html}"),
            }
        }
    }
}

#[derive(Debug)]
struct Tag {
    name: String,
    attributes: Vec<(String, String)>,
}

/// Every tag, and every comment or declaration as a tag that no note may have.
#[derive(Default)]
struct Tags(RefCell<Vec<Tag>>);

impl TokenSink for Tags {
    type Handle = ();

    fn process_token(&self, token: Token, _line: u64) -> TokenSinkResult<()> {
        let tag = match token {
            Token::TagToken(tag) => Some(Tag {
                name: tag.name.to_string(),
                attributes: tag
                    .attrs
                    .iter()
                    .map(|attribute| {
                        (
                            attribute.name.local.to_string(),
                            attribute.value.to_string(),
                        )
                    })
                    .collect(),
            }),
            Token::CommentToken(_) | Token::DoctypeToken(_) => Some(Tag {
                name: "a comment or declaration".to_owned(),
                attributes: Vec::new(),
            }),
            _ => None,
        };
        self.0.borrow_mut().extend(tag);
        TokenSinkResult::Continue
    }
}
