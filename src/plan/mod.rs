//! Plans for sampling a field: how many sites, when to stop, and how far in from the edge to look.

pub mod edge;
pub mod field;
pub mod field_plane;
pub mod scatter;
pub mod sides;
pub mod stop_card;
pub mod strip_shape;
pub mod strips;
pub mod threshold;
