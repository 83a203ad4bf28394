//! Where: the counties of a region. A stand-in with the signatures that `publish` reads.

use geo::{BoundingRect, Rect, coord};

use crate::failure::{Failure, Kind};

/// One county, or what the user's file has in a county's place.
#[derive(Debug, Clone, PartialEq)]
pub struct County {
    /// Identity within the region.
    pub id: String,
    /// The name that people know it by.
    pub name: String,
    /// Outline in degrees, wound as RFC 7946 wants it.
    pub shape: geo::MultiPolygon<f64>,
}

/// The counties of a region.
#[derive(Debug, Clone)]
pub struct Region {
    counties: Vec<County>,
    title: String,
    vintage: String,
    source: String,
    invented: Option<String>,
}

impl Region {
    /// A region from a GeoJSON text.
    ///
    /// # Errors
    /// A [`Failure`] if the text is not a `FeatureCollection` of counties.
    pub fn from_text(
        text: &str,
        place: &str,
        id_property: &str,
        name_property: &str,
    ) -> Result<Region, Failure> {
        let unusable = || Failure::new(Kind::Boundaries, "not a usable region").at(place);
        let collection: geojson::FeatureCollection = text.parse().map_err(|_| unusable())?;
        let foreign = collection.foreign_members.unwrap_or_default();
        let member = |name: &str| {
            foreign
                .get(name)
                .and_then(|v| v.as_str())
                .map(str::to_owned)
        };
        let mut counties = Vec::new();
        for feature in collection.features {
            let property = |name: &str| {
                let value = feature.property(name).and_then(|v| v.as_str());
                value.map(str::to_owned).ok_or_else(unusable)
            };
            let (id, name) = (property(id_property)?, property(name_property)?);
            let geometry = feature.geometry.ok_or_else(unusable)?;
            let shape = match geo::Geometry::<f64>::try_from(geometry.value) {
                Ok(geo::Geometry::Polygon(polygon)) => geo::MultiPolygon(vec![polygon]),
                Ok(geo::Geometry::MultiPolygon(shape)) => shape,
                _ => return Err(unusable()),
            };
            counties.push(County { id, name, shape });
        }
        counties.sort_by(|one, other| one.id.cmp(&other.id));
        Ok(Region {
            counties,
            title: member("title").unwrap_or_default(),
            vintage: member("vintage").unwrap_or_default(),
            source: member("source").unwrap_or_default(),
            invented: member("invented"),
        })
    }

    /// The counties, sorted by id.
    pub fn counties(&self) -> &[County] {
        &self.counties
    }

    /// Counties that have no outline.
    pub fn without_shape(&self) -> &[County] {
        &[]
    }

    /// What to call the region.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The time for which the boundaries hold.
    pub fn vintage(&self) -> &str {
        &self.vintage
    }

    /// Whence the boundaries come.
    pub fn source(&self) -> &str {
        &self.source
    }

    /// The notice that the region is invented, if it is.
    pub fn invented(&self) -> Option<&str> {
        self.invented.as_deref()
    }

    /// The smallest planar box around every county.
    pub fn bounds(&self) -> Rect<f64> {
        let boxes = self.counties.iter().filter_map(|c| c.shape.bounding_rect());
        boxes
            .reduce(|all, one| {
                Rect::new(
                    coord! { x: all.min().x.min(one.min().x), y: all.min().y.min(one.min().y) },
                    coord! { x: all.max().x.max(one.max().x), y: all.max().y.max(one.max().y) },
                )
            })
            .expect("a region has a county")
    }
}
