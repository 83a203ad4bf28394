//! Plans for a field: how many sites, when to stop, how far in from the edge to look, and its threshold by cost and price.

pub(crate) mod edge;
pub(crate) mod edge_page;
pub(crate) mod field;
pub(crate) mod field_plane;
pub(crate) mod scatter;
pub(crate) mod sides;
pub(crate) mod stop_card;
pub(crate) mod strip_shape;
pub(crate) mod strips;
pub(crate) mod threshold;
pub(crate) mod threshold_plan;
pub mod threshold_table;
pub(crate) mod threshold_words;
