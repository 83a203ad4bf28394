//! A path as an argument.

use std::path::Path;

pub fn shown(path: &Path) -> String {
    path.display().to_string()
}
