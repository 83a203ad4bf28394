//! The files to paste and to send, by name.

use super::content::content;
use super::email::email_html;
use super::map_picture::Pictures;
use super::map_sheet::map_sheet;
use super::pdf::alert_pdf;
use super::png::png;
use super::short::short_text;
use crate::alert::bulletin::Bulletin;
use crate::shared::files::OutputFile;
use crate::shared::fonts::Widths;
use scouting::failure::Failure;

/// The files of an alert to paste and to send; the same bytes for the same bulletin.
///
/// # Errors
/// A [`Failure`] if the week is no ISO 8601 week, or a file cannot be drawn.
pub fn handout_files(bulletin: &Bulletin) -> Result<Vec<OutputFile>, Failure> {
    let widths = Widths::new();
    let pictures = Pictures::new();
    let content = content(bulletin)?;
    let sheet = map_sheet(bulletin, &content, &widths);
    Ok(vec![
        ("alert.pdf", alert_pdf(&content, &pictures, &widths)?),
        ("email.html", email_html(&content)?.into_bytes()),
        ("map.png", png(&pictures.painted(&sheet, 1.0)?)),
        ("map.svg", sheet.into_bytes()),
        ("short.txt", short_text(bulletin)?.into_bytes()),
    ])
}
