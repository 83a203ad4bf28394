//! Where fields can be: any set of county shapes, invented or real.
//!
//! It draws points inside a county and knows each county's nearest neighbor. It reads no file; the
//! shapes are given to it.

use geo::{Area, BoundingRect, Centroid, Contains, InteriorPoint, MultiPolygon, Point, Rect};
use rand::Rng;
use rand_distr::{Distribution, StandardNormal};

use super::chance::rounded;
use scouting::failure::{Failure, Kind};

/// Tries to hit a county by chance before its middle is taken: a county may be a thin thread.
const TRIES: usize = 10_000;
/// Decimals of a coordinate: about a meter.
const DECIMALS: i32 = 5;

/// The counties of a region as places for fields.
#[derive(Debug, Clone)]
pub(crate) struct Places {
    counties: Vec<CountyPlace>,
    bounds: Rect<f64>,
}

#[derive(Debug, Clone)]
struct CountyPlace {
    county_id: String,
    shape: MultiPolygon<f64>,
    bounds: Rect<f64>,
    /// The county whose middle is nearest, if there is another.
    neighbor: Option<usize>,
    /// Share of the fields that are in this county or in one before it.
    share_up_to: f64,
}

impl Places {
    /// Takes counties as id and shape (longitude and latitude, degrees). Each county gets fields by
    /// its area and by how much is grown there, which is chance.
    ///
    /// # Errors
    /// If no county has an area, or a corner is no finite number.
    pub(crate) fn new(
        shapes: &[(String, MultiPolygon<f64>)],
        chance: &mut impl Rng,
    ) -> Result<Self, Failure> {
        let mut counties: Vec<CountyPlace> = Vec::with_capacity(shapes.len());
        let mut middles: Vec<Point<f64>> = Vec::with_capacity(shapes.len());
        let mut weight_up_to = 0.0;
        for (county_id, shape) in shapes {
            let luck: f64 = StandardNormal.sample(chance);
            let (Some(bounds), Some(middle)) = (shape.bounding_rect(), shape.centroid()) else {
                continue;
            };
            // A square degree is worth less ground in the north.
            weight_up_to +=
                shape.unsigned_area() * middle.y().to_radians().cos() * (0.3 * luck).exp();
            middles.push(middle);
            counties.push(CountyPlace {
                county_id: county_id.clone(),
                shape: shape.clone(),
                bounds,
                neighbor: None,
                share_up_to: weight_up_to,
            });
        }
        if !(weight_up_to > 0.0 && weight_up_to.is_finite()) {
            return Err(Failure::new(
                Kind::Boundaries,
                "cannot place sample fields: no county has an area",
            )
            .mend("give county boundaries as polygons in longitude and latitude"));
        }
        let bounds = counties
            .iter()
            .map(|county| county.bounds)
            .reduce(around_both)
            .expect("a weight above 0 came from a county");
        for (place, county) in counties.iter_mut().enumerate() {
            county.share_up_to /= weight_up_to;
            county.neighbor = nearest(place, &middles);
        }
        Ok(Places { counties, bounds })
    }

    /// How many counties there are.
    pub(crate) fn count(&self) -> usize {
        self.counties.len()
    }

    /// The smallest rectangle around the region.
    pub(crate) fn bounds(&self) -> Rect<f64> {
        self.bounds
    }

    /// A county's id, as it was given.
    pub(crate) fn county_id(&self, county: usize) -> &str {
        &self.counties[county].county_id
    }

    /// The county whose middle is nearest to this one's.
    pub(crate) fn neighbor(&self, county: usize) -> Option<usize> {
        self.counties[county].neighbor
    }

    /// Draws a county, by area and by how much is grown there.
    pub(crate) fn pick_county(&self, chance: &mut impl Rng) -> usize {
        let share: f64 = chance.random();
        self.counties
            .partition_point(|county| county.share_up_to <= share)
            .min(self.counties.len() - 1)
    }

    /// Draws a point strictly inside a county: longitude and latitude with five decimals.
    pub(crate) fn pick_point(&self, county: usize, chance: &mut impl Rng) -> (f64, f64) {
        let place = &self.counties[county];
        let (low, high) = (place.bounds.min(), place.bounds.max());
        for _ in 0..TRIES {
            let lon = rounded(low.x + (high.x - low.x) * chance.random::<f64>(), DECIMALS);
            let lat = rounded(low.y + (high.y - low.y) * chance.random::<f64>(), DECIMALS);
            if place.shape.contains(&Point::new(lon, lat)) {
                return (lon, lat);
            }
        }
        let inside = place
            .shape
            .interior_point()
            .expect("a county with a bounding rectangle has a point");
        (inside.x(), inside.y())
    }
}

fn around_both(one: Rect<f64>, other: Rect<f64>) -> Rect<f64> {
    let (low, high) = (one.min(), one.max());
    Rect::new(
        (low.x.min(other.min().x), low.y.min(other.min().y)),
        (high.x.max(other.max().x), high.y.max(other.max().y)),
    )
}

fn nearest(place: usize, middles: &[Point<f64>]) -> Option<usize> {
    let distance = |other: usize| {
        let way = middles[other] - middles[place];
        way.x().hypot(way.y())
    };
    (0..middles.len())
        .filter(|other| *other != place)
        .min_by(|a, b| distance(*a).total_cmp(&distance(*b)))
}

#[cfg(test)]
mod tests {
    use geo::MultiPolygon;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;

    use super::Places;

    #[test]
    fn a_region_without_area_is_refused() {
        let mut chance = ChaCha8Rng::seed_from_u64(1);
        let nowhere = [("X01".to_owned(), MultiPolygon::new(vec![]))];
        assert!(Places::new(&nowhere, &mut chance).is_err());
        assert!(Places::new(&[], &mut chance).is_err());
    }
}
