//! Boundary files, GeoJSON and TopoJSON: what reads has counties with names, areas and finite corners.

use std::collections::BTreeSet;

use geo::{Area, CoordsIter};
use scouting::region::Region;

use super::desk::reported;

/// Neighbors of more counties than this take too long to be looked for with every input.
const NEIGHBORS_OF_MAX: usize = 200;

/// Looks at one boundary file.
pub fn look(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let Some(region) = reported(Region::from_text(text, "input.geojson", "id", "name")) else {
        return;
    };
    let counties = region.counties();
    assert!(!counties.is_empty(), "a region without a county");
    let ids: BTreeSet<&str> = counties.iter().map(|county| &*county.id).collect();
    assert_eq!(ids.len(), counties.len(), "an id twice");
    let bounds = region.bounds();
    for county in counties {
        assert!(!county.id.trim().is_empty(), "{county:?}");
        assert!(county.shape.unsigned_area() > 0.0, "{county:?}");
        for polygon in &county.shape {
            let rings = std::iter::once(polygon.exterior()).chain(polygon.interiors());
            for ring in rings {
                assert!(ring.is_closed() && ring.0.len() >= 4, "{county:?}");
            }
        }
        for corner in county.shape.coords_iter() {
            assert!(
                corner.x.abs() <= 180.0 && corner.y.abs() <= 90.0,
                "{corner:?}"
            );
        }
        // A corner of an outline belongs to the lowest id that touches it. A hole may lie where there is no outline: what
        // the file draws is not mended.
        for corner in county
            .shape
            .iter()
            .flat_map(|polygon| &polygon.exterior().0)
        {
            assert!(
                bounds.min().x <= corner.x && corner.x <= bounds.max().x,
                "{corner:?} outside {bounds:?}"
            );
            let found = region.locate(corner.x, corner.y);
            let found = found.expect("a corner is in a county");
            assert!(
                found.id <= county.id,
                "{corner:?} of {} in {}",
                county.id,
                found.id
            );
        }
        assert_eq!(
            region.county(&county.id).map(|found| &found.name),
            Some(&county.name)
        );
    }
    assert!(region.locate(f64::NAN, 0.0).is_none());
    if counties.len() <= NEIGHBORS_OF_MAX {
        let neighbors = region.neighbors();
        for (place, of) in neighbors.iter().enumerate() {
            for &other in of {
                assert!(
                    other != place && neighbors[other].contains(&place),
                    "{place} and {other} are no neighbors of each other"
                );
            }
        }
    }
}
