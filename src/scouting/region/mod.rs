//! Where: the counties of a region, and the county that a point is in.
//!
//! Boundaries come with the program or from the user's own file; either way they end as the same
//! [`Region`]. Nothing here draws a map, hides a small group or knows a visit.

pub mod adjacency;
mod boundaries;
mod built_in;
mod county;
mod crossings;
pub mod distance;
pub mod districts;
mod draw;
mod inside;
mod locate;
mod outline;
pub mod point_grid;
mod topology;

use std::collections::BTreeMap;
use std::path::Path;

use geo::{BoundingRect, Rect, coord};

use crate::failure::{Failure, Kind};
use crate::plain_file::{BOUNDARIES_BYTES_MAX, read_plain};
use boundaries::Boundaries;
use crossings::Crossed;
use locate::Locator;
use outline::Labels;

pub use county::County;

/// The counties of a region, with the index that finds a point's county.
#[derive(Debug, Clone)]
pub struct Region {
    /// Sorted by id, never empty.
    counties: Vec<County>,
    /// Sorted by id, usually empty.
    without_shape: Vec<County>,
    locator: Locator,
    bounds: Rect<f64>,
    title: String,
    vintage: String,
    source: String,
    invented: Option<String>,
    districts: BTreeMap<String, String>,
    crossed: Vec<Crossed>,
}

impl Region {
    /// The built-in counties of some US states: `us:46`, or `us:20,31` for several.
    ///
    /// # Errors
    /// A [`Failure`] that lists the valid state codes, if `states` has another form or names a
    /// state that is not there.
    pub fn built_in(states: &str) -> Result<Region, Failure> {
        let (boundaries, without_shape) = built_in::read_states(states)?;
        let mut region = Region::assemble(boundaries)?;
        region.without_shape = without_shape;
        Ok(region)
    }

    /// A region from the user's GeoJSON `FeatureCollection` or TopoJSON; which of the two it is,
    /// the content says. `id_property` may be `id`, which also finds a feature's own `id`.
    ///
    /// # Errors
    /// A [`Failure`] if the file cannot be read, or holds anything that would lose or misplace a
    /// county: the messages name the feature and how to correct it.
    pub fn from_file(
        path: &Path,
        id_property: &str,
        name_property: &str,
    ) -> Result<Region, Failure> {
        let text = Region::text_of_file(path)?;
        let place = path.display().to_string();
        Region::from_text(&text, &place, id_property, name_property)
    }

    /// The text of a boundary file.
    ///
    /// # Errors
    /// A [`Failure`] if it cannot be read or is not UTF-8.
    pub fn text_of_file(path: &Path) -> Result<String, Failure> {
        let bytes = read_plain(path, BOUNDARIES_BYTES_MAX)?;
        let place = path.display().to_string();
        String::from_utf8(bytes).map_err(|error| {
            let position = error.utf8_error().valid_up_to();
            Failure::new(Kind::Boundaries, "the boundary file is not UTF-8 text")
                .at(format!("{place}, byte {position}"))
                .mend("give GeoJSON or TopoJSON; a shapefile can be converted with ogr2ogr")
                .caused_by(error)
        })
    }

    /// As [`Region::from_file`], of a text that is at hand; `place` says in messages whence it came.
    ///
    /// # Errors
    /// As [`Region::from_file`].
    pub fn from_text(
        text: &str,
        place: &str,
        id_property: &str,
        name_property: &str,
    ) -> Result<Region, Failure> {
        let labels = Labels {
            id_property,
            name_property,
        };
        let mut region = Region::assemble(boundaries::read_text(text, place, &labels)?)?;
        region.crossed = crossings::crossed(&region.counties, place)?;
        Ok(region)
    }

    /// The counties, sorted by id as text; at least one.
    pub fn counties(&self) -> &[County] {
        &self.counties
    }

    /// The county with this id.
    pub fn county(&self, id: &str) -> Option<&County> {
        self.counties
            .binary_search_by(|county| county.id.as_str().cmp(id))
            .ok()
            .map(|found| &self.counties[found])
    }

    /// The county of this id, or of this name if no other has it; upper and lower case are the same.
    pub fn county_called(&self, called: &str) -> Option<&County> {
        let folded = |text: &str| text.trim().to_lowercase();
        let called = folded(called);
        let by = |name: fn(&County) -> &str| {
            let mut found = self
                .counties
                .iter()
                .filter(|county| folded(name(county)) == called);
            found.next().filter(|_| found.next().is_none())
        };
        by(|county| &county.id).or_else(|| by(|county| &county.name))
    }

    /// The counties that touch each county, in the order of [`Region::counties`]: queen contiguity, places
    /// in that list.
    pub fn neighbors(&self) -> Vec<Vec<usize>> {
        adjacency::neighbors_of(&self.counties)
    }

    /// The county of a point, in degrees; a point on a border belongs to the lowest id, and one
    /// outside every county (or not a number) to none.
    pub fn locate(&self, lon: f64, lat: f64) -> Option<&County> {
        self.locator
            .locate(&self.counties, lon, lat)
            .map(|found| &self.counties[found])
    }

    /// Counties that the built-in boundaries name but have no outline of, because they are smaller
    /// than its drawing; their shape is empty and no point is in them. Sorted by id. A user's file
    /// with such a county is refused instead, so there this is empty.
    pub fn without_shape(&self) -> &[County] {
        &self.without_shape
    }

    /// The counties of a user's file whose outlines meet or cross themselves, with the first place of each: too little to
    /// matter but for drawing, where it is repaired. Of the built-in boundaries none is looked for.
    pub fn crossed(&self) -> impl Iterator<Item = (&County, (f64, f64))> {
        let crossed = self.crossed.iter();
        crossed.map(|crossed| (&self.counties[crossed.county], crossed.at))
    }

    /// What to call the region: the states, or the `title` or `name` of the user's file; empty if it
    /// has neither.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The time for which the boundaries hold, such as `2017`; `not stated` if the file has no
    /// `vintage`.
    pub fn vintage(&self) -> &str {
        &self.vintage
    }

    /// Whence the boundaries come: the file's `source`, or else the file's name without folder and ending.
    pub fn source(&self) -> &str {
        &self.source
    }

    /// The same region with districts: of each county that has one, by its id.
    pub fn with_districts(self, districts: BTreeMap<String, String>) -> Region {
        Region { districts, ..self }
    }

    /// The district of each county that has one, by the county's id.
    pub fn districts(&self) -> &BTreeMap<String, String> {
        &self.districts
    }

    /// The notice that the region is invented, if it is.
    pub fn invented(&self) -> Option<&str> {
        self.invented.as_deref()
    }

    /// The smallest box around every county, in degrees, planar: one that has counties on both sides
    /// of the 180th meridian spans the world.
    pub fn bounds(&self) -> Rect<f64> {
        self.bounds
    }

    fn assemble(boundaries: Boundaries) -> Result<Region, Failure> {
        let counties = draw::gather_counties(boundaries.outlines, &boundaries.place)?;
        Ok(Region {
            locator: Locator::new(&counties),
            bounds: bounds_of(&counties),
            counties,
            without_shape: Vec::new(),
            title: boundaries.title,
            vintage: boundaries.vintage,
            source: boundaries.source,
            invented: boundaries.invented,
            districts: BTreeMap::new(),
            crossed: Vec::new(),
        })
    }
}

fn bounds_of(counties: &[County]) -> Rect<f64> {
    counties
        .iter()
        .filter_map(|county| county.shape.bounding_rect())
        .reduce(|all, one| {
            Rect::new(
                coord! { x: all.min().x.min(one.min().x), y: all.min().y.min(one.min().y) },
                coord! { x: all.max().x.max(one.max().x), y: all.max().y.max(one.max().y) },
            )
        })
        .expect("a defect of the program: a region has a county, and a county an outline; please report it")
}
