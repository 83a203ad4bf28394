//! Whose figures: of a county, or of the region.

/// Whose seasons: a county with its name, or the region. The region sorts first.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Place {
    /// All counties that are shown.
    Region,
    /// Id and name.
    County(String, String),
}
