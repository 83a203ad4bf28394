//! Plans for sampling a field: how many sites, when to stop, and how far in from the edge to look.

pub(crate) mod edge;
pub(crate) mod field;
pub(crate) mod field_plane;
pub(crate) mod scatter;
pub(crate) mod sides;
pub(crate) mod stop_card;
pub(crate) mod strip_shape;
pub(crate) mod strips;
pub(crate) mod threshold;
