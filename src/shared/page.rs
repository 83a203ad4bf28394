//! Pieces of HTML that several pages have.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};

use super::classes::Class;

/// A style or script that is in the page, and the hash by which the content-security policy lets it in, and
/// nothing else (W3C Content Security Policy Level 3, hash-source).
pub(crate) struct Inline {
    /// Its text.
    pub text: &'static str,
    /// `sha256-` and the digest, base64.
    pub hash: String,
}

impl Inline {
    /// The text with its hash.
    pub(crate) fn of(text: &'static str) -> Inline {
        let digest = STANDARD.encode(Sha256::digest(text.as_bytes()));
        Inline {
            text,
            hash: format!("sha256-{digest}"),
        }
    }
}

/// A field of the legend, painted as the class is.
pub(crate) fn swatch(class: Class) -> String {
    let fill = class.fill();
    let edge = match class.is_outlined() {
        true => {
            r##"stroke="#fff" stroke-width="6"/><path d="M2 2h28v16h-28Z" fill="none" stroke="#000" stroke-width="2.5""##
        }
        false => r##"stroke="#555" stroke-width="1""##,
    };
    format!(
        r#"<svg class="swatch" viewBox="0 0 32 20" aria-hidden="true"><rect x="2" y="2" width="28" height="16" fill="{fill}" {edge}/></svg>"#
    )
}
