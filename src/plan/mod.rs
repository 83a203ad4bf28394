//! Plans for sampling a field: how many sites, when to stop, and how far in from the edge to look.

pub mod field_plane;
pub mod sides;
pub mod stop_card;
pub mod strip_shape;
pub mod strips;
