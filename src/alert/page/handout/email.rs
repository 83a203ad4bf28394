//! The alert as HTML for an e-mail: tables and styles in the elements themselves, nothing that a mail program fetches, runs
//! or drops. It has no picture: the map is a file of its own, to attach.

use askama::Template;

use super::content::{Block, Content, Run};
use crate::shared::unseen::seen_text;
use scouting::failure::{Failure, Kind};

/// The page as one column of a table.
///
/// # Errors
/// A [`Failure`] if the template cannot be filled in.
pub(super) fn email_html(content: &Content) -> Result<String, Failure> {
    Email {
        title: seen_text(&format!(
            "{} – {}, {}",
            content.headline, content.subject, content.week
        )),
        pieces: pieces(&content.blocks),
    }
    .render()
    .map_err(|error| Failure::because(Kind::Publish, "cannot write the e-mail", error))
}

#[derive(Template)]
#[template(path = "email.html", config = "src/shared/templates/askama.toml")]
struct Email<'a> {
    title: String,
    pieces: Vec<Piece<'a>>,
}

/// A block, or the items of a list together.
enum Piece<'a> {
    Block(&'a Block),
    List(Vec<&'a [Run]>),
}

fn pieces(blocks: &[Block]) -> Vec<Piece<'_>> {
    let mut pieces: Vec<Piece> = Vec::new();
    for block in blocks {
        match (block, pieces.last_mut()) {
            (Block::Item(runs), Some(Piece::List(items))) => items.push(runs),
            (Block::Item(runs), _) => pieces.push(Piece::List(vec![runs])),
            _ => pieces.push(Piece::Block(block)),
        }
    }
    pieces
}
