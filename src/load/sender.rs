//! Who sent a submission: by a name that somebody gives, or by the folder that its file is in.

use std::path::{Component, Path};

use scouting::visit::record::TEXT_LENGTH_MAX;

/// A sender's name as it is kept.
///
/// # Errors
/// What is wrong with it, for the person who wrote it.
pub(crate) fn sender_name(text: &str) -> Result<String, String> {
    let name = text.trim();
    if name.is_empty() {
        return Err("a sender has a name".to_owned());
    }
    if name.chars().any(char::is_control) || name.chars().count() > TEXT_LENGTH_MAX {
        return Err(format!(
            "a sender's name is one line of at most {TEXT_LENGTH_MAX} characters"
        ));
    }
    Ok(name.to_owned())
}

/// The sender of a file by its place within the folder that is loaded: the first folder on the way to it.
pub(crate) fn sender_by_folder(within: &Path) -> Option<String> {
    match within.parent()?.components().next()? {
        Component::Normal(folder) => sender_name(folder.to_str()?).ok(),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_folder_on_the_way_to_a_file_is_its_sender() {
        let sender = |file: &str| sender_by_folder(Path::new(file));
        assert_eq!(sender("north/a.csv").as_deref(), Some("north"));
        assert_eq!(sender("north/july/a.csv").as_deref(), Some("north"));
        assert_eq!(sender("a.csv"), None);
        assert_eq!(sender(" /a.csv"), None);
        assert_eq!(sender(""), None);
    }

    #[test]
    fn a_name_is_one_line_that_says_something() {
        assert_eq!(sender_name(" north office ").as_deref(), Ok("north office"));
        for wrong in ["", "  ", "a\nb", &"x".repeat(TEXT_LENGTH_MAX + 1)] {
            assert!(sender_name(wrong).is_err(), "{wrong:?}");
        }
    }
}
