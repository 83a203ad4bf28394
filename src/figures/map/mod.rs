//! The public rows as map files: GeoJSON, GeoParquet, and styles for map viewers.

pub(crate) mod columns;
pub mod geo;
pub(crate) mod geo_parquet;
pub mod maplibre_style;
pub mod qgis_style;
pub mod rows;
pub mod rules;
pub(crate) mod small_map;
pub(crate) mod viewer_style;
