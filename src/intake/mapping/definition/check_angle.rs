//! How one `[[field]]` of a mapping file says that longitudes and latitudes are written.

use crate::mapping::definition::file::{FieldEntry, OneOrMany};
use crate::mapping::definition::mistake::{Mistake, mistake};
use crate::mapping::member::Quantity;
use crate::mapping::utm_points::UtmZone;
use crate::mapping::values::angles::{AngleForm, Hemisphere};

/// Checks format and hemisphere of a longitude or latitude.
pub(super) fn angle_form(
    entry: &FieldEntry,
    quantity: Option<Quantity>,
) -> Result<AngleForm, Mistake> {
    let Some(quantity) = quantity.filter(|quantity| quantity.is_angle()) else {
        return match entry.hemisphere {
            None => Ok(AngleForm::default()),
            Some(_) => mistake(
                "hemisphere is about degrees",
                "leave it out for a target that is no longitude or latitude",
            ),
        };
    };
    let dms = match entry.format.as_ref().map(OneOrMany::all) {
        None => false,
        Some([format]) if format == "dms" => true,
        Some(_) => {
            return mistake(
                "its format is none of degrees",
                "write format = \"dms\" for degrees with minutes, seconds or letters; decimal degrees need none",
            );
        }
    };
    let hemisphere = match &entry.hemisphere {
        None => None,
        Some(letter) => match Hemisphere::of(letter, quantity) {
            Some(hemisphere) => Some(hemisphere),
            None => {
                let letters = match quantity {
                    Quantity::Longitude => "E or W",
                    _ => "N or S",
                };
                return mistake(
                    format!("hemisphere is {letter:?}"),
                    format!("for this target it is {letters}"),
                );
            }
        },
    };
    Ok(AngleForm { dms, hemisphere })
}

/// Checks the zone of easting and northing.
pub(super) fn utm_zone(
    entry: &FieldEntry,
    quantity: Option<Quantity>,
) -> Result<Option<UtmZone>, Mistake> {
    let Some(text) = &entry.utm_zone else {
        return Ok(None);
    };
    if !quantity.is_some_and(Quantity::is_angle) {
        return mistake(
            "utmZone is about a point",
            "give it for lon (the easting) and lat (the northing)",
        );
    }
    if entry.format.is_some() || entry.hemisphere.is_some() {
        return mistake(
            "meters of a UTM zone have no format and no hemisphere",
            "keep one of utmZone, and format or hemisphere",
        );
    }
    match UtmZone::of(text) {
        Some(zone) => Ok(Some(zone)),
        None => mistake(
            format!("utmZone is {text:?}"),
            "write the number of the zone with N or S for its hemisphere, as 14N",
        ),
    }
}
