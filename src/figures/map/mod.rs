//! The public rows as map files: GeoJSON, GeoParquet, and styles for map viewers.

pub mod columns;
pub mod geo;
pub mod geo_parquet;
pub mod maplibre_style;
pub mod qgis_style;
pub mod rows;
pub mod rules;
