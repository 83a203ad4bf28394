//! Point → county: boxes of polygons in an R-tree, then the exact test of `inside`.
//!
//! Planar, as the contract says, and with robust predicates, so that a point on a shared border is
//! on the border of both counties. It knows counties by their position in the sorted list only.

use geo::coordinate_position::CoordPos;
use geo::{BoundingRect, coord};
use rstar::RTree;
use rstar::primitives::{GeomWithData, Rectangle};

use super::county::County;
use super::inside::Inside;

/// One polygon of one county, by position.
#[derive(Debug, Clone, Copy)]
struct Part {
    county: usize,
    polygon: usize,
    /// Number of its index.
    part: usize,
}

/// The index over the polygons of sorted counties.
#[derive(Debug, Clone)]
pub(super) struct Locator {
    tree: RTree<GeomWithData<Rectangle<[f64; 2]>, Part>>,
    parts: Vec<Inside>,
}

impl Locator {
    /// Indexes each polygon by itself: the box of a county with islands is mostly water.
    pub(super) fn new(counties: &[County]) -> Self {
        let mut boxes = Vec::new();
        for (county, of) in counties.iter().enumerate() {
            for (polygon, outline) in of.shape.iter().enumerate() {
                if let Some(bounds) = outline.bounding_rect() {
                    let corners = Rectangle::from_corners(
                        [bounds.min().x, bounds.min().y],
                        [bounds.max().x, bounds.max().y],
                    );
                    let part = Part {
                        county,
                        polygon,
                        part: boxes.len(),
                    };
                    boxes.push(GeomWithData::new(corners, part));
                }
            }
        }
        Locator {
            parts: vec![Inside::default(); boxes.len()],
            tree: RTree::bulk_load(boxes),
        }
    }

    /// The first of the counties that holds the point, border included. The counties are sorted by
    /// id, so the first is the one with the lowest id.
    pub(super) fn locate(&self, counties: &[County], lon: f64, lat: f64) -> Option<usize> {
        let point = coord! { x: lon, y: lat };
        let mut lowest: Option<usize> = None;
        for candidate in self.tree.locate_all_at_point(&[lon, lat]) {
            let part = candidate.data;
            if lowest.is_some_and(|found| found <= part.county) {
                continue;
            }
            let outline = &counties[part.county].shape.0[part.polygon];
            if self.parts[part.part].position(outline, point) != CoordPos::Outside {
                lowest = Some(part.county);
            }
        }
        lowest
    }
}
