//! The alert in forms to paste and to send: a picture of the map, a PDF, an e-mail and a short text. They say what the page
//! says, from the same public rows, and need no browser, no office program and no font on the machine.

mod content;
mod county_block;
mod email;
pub mod files;
mod layout;
mod lines;
mod map_picture;
mod map_sheet;
mod note_blocks;
mod pdf;
mod pdf_fonts;
mod pdf_tags;
mod png;
mod short;
mod short_letters;
mod table_layout;
