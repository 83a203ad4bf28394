//! The members of a visit record that hold a value, each with all that the program says of it, in one table.
//!
//! From it follow the targets of a mapping, the columns of the plain layout, the words for a member in a letter
//! to its sender, and what the sender is asked for. A new optional member is a row here, a member of the type in
//! [`super::record`] (with its limits in `conforms`, if it has any), and a member of the two published schemas.
//! The unit tests of `intake::mapping::member` name the place that is missing. The file is long because the table is.
//!
//! A member is named by its JSON Pointer (RFC 6901) with placeholders for the places in lists:
//! `/sites/{site}/heads/{head}/{bract}`. A placeholder is the number that a sheet gives to
//! the site, the head or the bract, which a column may hold by itself (`{head}`).

use super::record::{AMOUNT_MAX, CountForm};

/// A member of the visit record, or the number of a unit or bract.
#[derive(Debug, PartialEq)]
pub struct Member {
    /// JSON Pointer with placeholders, or a placeholder alone.
    pub pointer: &'static str,
    /// How many of it a visit has.
    pub level: Level,
    /// What it takes.
    pub kind: Kind,
    /// Whether a record without it is refused; for the unit of an amount: whether an amount without it is.
    pub required: bool,
    /// What a sender should write, in words.
    pub expected: &'static str,
    /// What it is called before people; empty where the place of its unit says it.
    pub words: &'static str,
    /// Its column in the plain layout.
    pub column: Option<Column>,
    /// What a sender is asked for where the cell must not stay blank.
    pub asked: Option<&'static str>,
}

/// A column of the plain layout.
#[derive(Debug, PartialEq)]
pub struct Column {
    /// Its place among the columns of the visit, or among those of site and unit, from 0.
    pub place: usize,
    /// Its heading.
    pub name: &'static str,
    /// Whether a sheet may lack it.
    pub optional: bool,
}

/// How many of a member a visit has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    /// Once a visit.
    Visit,
    /// Once a site.
    Site,
    /// Once a unit: the nights of a trap.
    Unit,
    /// What is counted.
    Count,
    /// The number of a unit or a bract, no member itself.
    Index,
}

/// What a member takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A short text.
    Text,
    /// A text of any kind.
    Remarks,
    /// A day.
    Day,
    /// A point in time.
    Instant,
    /// Yes or no.
    Truth,
    /// A GeoJSON Polygon.
    Outline,
    /// A whole number.
    Whole,
    /// A number with a unit.
    Number(Quantity),
}

/// What a number measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Degrees of longitude.
    Longitude,
    /// Degrees of latitude.
    Latitude,
    /// Hectares.
    Area,
    /// Money for each acre or hectare.
    MoneyPerArea,
    /// Money for each pound or kilogram.
    MoneyPerWeight,
    /// Plants on each acre or hectare.
    PlantsPerArea,
}

impl Quantity {
    /// What the schema takes, both ends included.
    pub fn range(self) -> (f64, f64) {
        match self {
            Quantity::Longitude => (-180.0, 180.0),
            Quantity::Latitude => (-90.0, 90.0),
            _ => (0.0, AMOUNT_MAX),
        }
    }

    /// Whether it is a place on the earth.
    pub fn is_angle(self) -> bool {
        matches!(self, Quantity::Longitude | Quantity::Latitude)
    }
}

const fn member(pointer: &'static str, level: Level, kind: Kind) -> Member {
    Member {
        pointer,
        level,
        kind,
        required: false,
        expected: "",
        words: "",
        column: None,
        asked: None,
    }
}

impl Member {
    const fn needs(mut self, expected: &'static str) -> Member {
        self.required = true;
        self.takes(expected)
    }

    const fn takes(mut self, expected: &'static str) -> Member {
        self.expected = expected;
        self
    }

    const fn called(mut self, words: &'static str) -> Member {
        self.words = words;
        self
    }

    const fn in_column(mut self, place: usize, name: &'static str) -> Member {
        self.column = Some(Column {
            place,
            name,
            optional: false,
        });
        self
    }

    const fn in_optional_column(mut self, place: usize, name: &'static str) -> Member {
        self.column = Some(Column {
            place,
            name,
            optional: true,
        });
        self
    }

    const fn column_if(&self, of_visit: bool) -> Option<&Column> {
        match matches!(self.level, Level::Visit) == of_visit {
            true => self.column.as_ref(),
            false => None,
        }
    }

    const fn asked(mut self, asked: &'static str) -> Member {
        self.asked = Some(asked);
        self
    }
}

const COUNT: &str = "a whole number from 0 to 1,000,000";
const ID: &str = "a short text: 1 to 200 characters on one line";
const MONEY: &str = "an amount of money above 0, as a plain number";

impl Member {
    /// The placeholders of the pointer, in order.
    pub fn placeholders(&self) -> impl Iterator<Item = &'static str> {
        self.pointer.split('/').filter_map(placeholder)
    }

    /// The form of counts that the member belongs to.
    pub fn count_form(&self) -> Option<CountForm> {
        [CountForm::Heads, CountForm::Plants, CountForm::Traps]
            .into_iter()
            .find(|form| {
                self.pointer
                    .starts_with(&format!("/sites/{{site}}/{}/", form.member()))
            })
    }
}

/// The name within braces.
pub fn placeholder(step: &str) -> Option<&str> {
    step.strip_prefix('{')?.strip_suffix('}')
}

/// Every member, in the order of the record.
pub static MEMBERS: &[Member] = {
    use Kind::*;
    use Level::*;
    use Quantity::*;
    &[
        member("/schema_version", Visit, Text)
            .takes("the text 1.0")
            .called("version of the schema")
            .in_optional_column(0, "schema_version"),
        member("/visit_id", Visit, Text)
            .needs(ID)
            .called("visit ID")
            .in_column(1, "visit_id")
            .asked("an id of the visit that no other visit has"),
        member("/revision", Visit, Whole)
            .takes("a whole number, 1 for a first submission")
            .called("revision")
            .in_optional_column(2, "revision"),
        member("/observed_on", Visit, Day)
            .needs("the visit date, as 2026-07-21")
            .called("visit date")
            .in_column(3, "observed_on")
            .asked("the visit date, as 2026-07-21"),
        member("/submitted_at", Visit, Instant)
            .needs("a time with its zone, as 2026-07-21T18:03:00Z")
            .called("submission time")
            .in_column(4, "submitted_at")
            .asked("when it was submitted, as 2026-07-21T18:03:00Z"),
        member("/observer_id", Visit, Text)
            .needs(ID)
            .called("scout")
            .in_column(5, "observer_id")
            .asked("the scout ID"),
        member("/field/field_id", Visit, Text)
            .needs(ID)
            .called("id of the field")
            .in_column(6, "field_id")
            .asked("the field ID"),
        member("/field/lon", Visit, Number(Longitude))
            .takes("decimal degrees, west negative, as -100.12345")
            .called("longitude")
            .in_column(8, "lon")
            .asked("the field's longitude in degrees, west with a minus sign"),
        member("/field/lat", Visit, Number(Latitude))
            .takes("decimal degrees, south negative, as 44.12345")
            .called("latitude")
            .in_column(9, "lat")
            .asked("the field's latitude in degrees"),
        member("/field/area_ha", Visit, Number(Area))
            .needs("an area above 0, as a plain number")
            .called("area in hectares")
            .in_column(10, "area_ha")
            .asked("the field's area in hectares"),
        member("/field/crop_type", Visit, Text)
            .needs("a type of crop, as oilseed")
            .called("crop type")
            .in_column(13, "crop_type")
            .asked("the crop type, as oilseed or confection"),
        member("/field/farm_id", Visit, Text)
            .takes(ID)
            .called("id of the farm")
            .in_optional_column(7, "farm_id"),
        member("/field/county_id", Visit, Text)
            .takes(ID)
            .called("county")
            .in_optional_column(11, "county_id"),
        member("/field/outline", Visit, Outline)
            .takes("a GeoJSON Polygon, with type and coordinates alone")
            .called("outline of the field")
            .in_optional_column(12, "outline"),
        member("/protocol", Visit, Text)
            .needs("the id of a protocol, as bsm-eggs")
            .called("protocol")
            .in_column(14, "protocol")
            .asked("the protocol's id"),
        member("/crop_stage", Visit, Text)
            .needs("a crop stage, as R3 or R5.1")
            .called("crop stage")
            .in_column(15, "crop_stage")
            .asked("the crop stage, as R3"),
        member("/treated_on", Visit, Day)
            .takes("the day of the latest treatment before the visit, as 2026-07-14")
            .called("treatment date")
            .in_optional_column(26, "treated_on"),
        member("/treatment", Visit, Text)
            .takes("none, insecticide or other")
            .called("treatment")
            .in_optional_column(27, "treatment"),
        member(
            "/economics/treatment_cost/amount",
            Visit,
            Number(MoneyPerArea),
        )
        .takes(MONEY)
        .called("treatment cost")
        .in_column(16, "treatment_cost_amount")
        .asked("the cost of one treatment"),
        member("/economics/treatment_cost/per", Visit, Text)
            .needs("acre or ha")
            .called("treatment cost")
            .in_column(17, "treatment_cost_per")
            .asked("acre or ha"),
        member("/economics/treatment_cost/currency", Visit, Text)
            .needs("an ISO 4217 code, as USD")
            .called("treatment cost")
            .in_column(18, "treatment_cost_currency")
            .asked("a currency, as USD"),
        member(
            "/economics/market_value/amount",
            Visit,
            Number(MoneyPerWeight),
        )
        .takes(MONEY)
        .called("market price")
        .in_column(19, "market_value_amount")
        .asked("the market price of the crop"),
        member("/economics/market_value/per", Visit, Text)
            .needs("lb or kg")
            .called("market price")
            .in_column(20, "market_value_per")
            .asked("lb or kg"),
        member("/economics/market_value/currency", Visit, Text)
            .needs("an ISO 4217 code, as USD")
            .called("market price")
            .in_column(21, "market_value_currency")
            .asked("a currency, as USD"),
        member(
            "/economics/plant_population/count",
            Visit,
            Number(PlantsPerArea),
        )
        .takes("plants on an area, above 0, as a plain number")
        .called("plant population")
        .in_column(22, "plant_population_count")
        .asked("the plant population"),
        member("/economics/plant_population/per", Visit, Text)
            .needs("acre or ha")
            .called("plant population")
            .in_column(23, "plant_population_per")
            .asked("acre or ha"),
        member("/remarks", Visit, Remarks)
            .takes("a text of at most 4,000 characters")
            .called("remarks")
            .in_optional_column(24, "remarks"),
        member("/retracted", Visit, Truth)
            .takes("true or false")
            .called("withdrawal")
            .in_optional_column(25, "retracted"),
        member("/sites/{site}/site", Site, Whole)
            .takes("the number of the site, a whole number from 1 on")
            .called("number of the site")
            .in_column(0, "site"),
        member("/sites/{site}/side", Site, Text)
            .takes(ID)
            .called("side")
            .in_optional_column(1, "side"),
        member("/sites/{site}/lon", Site, Number(Longitude))
            .takes("decimal degrees, west negative, as -100.12345")
            .called("longitude")
            .in_optional_column(2, "site_lon"),
        member("/sites/{site}/lat", Site, Number(Latitude))
            .takes("decimal degrees, south negative, as 44.12345")
            .called("latitude")
            .in_optional_column(3, "site_lat"),
        member("/sites/{site}/heads/{head}/{bract}", Count, Whole).takes(COUNT),
        member("/sites/{site}/plants/{plant}", Count, Whole)
            .takes(COUNT)
            .in_optional_column(5, "count"),
        member("/sites/{site}/traps/{trap}/catch", Count, Whole)
            .takes(COUNT)
            .in_optional_column(6, "catch"),
        member("/sites/{site}/traps/{trap}/nights", Unit, Whole)
            .takes("nights, a whole number from 1 to 366")
            .in_optional_column(7, "nights"),
        member("{head}", Index, Text).takes("the number of the head"),
        member("{plant}", Index, Text).takes("the number of the plant"),
        member("{trap}", Index, Text).takes("the number of the trap"),
        member("{bract}", Index, Text).takes("the number of the bract"),
        member("{unit}", Index, Text)
            .takes("the number of the unit: head, plant or trap")
            .in_column(4, "unit"),
    ]
};

/// The columns of the visit in the plain layout, in order.
pub static VISIT_COLUMNS: [(&Column, &Member); count(true)] = columns(true);

/// The columns of site and unit in the plain layout, in order; the counts of bracts follow.
pub static UNIT_COLUMNS: [(&Column, &Member); count(false)] = columns(false);

/// How many members have a column among those of the visit, or among those of site and unit.
const fn count(of_visit: bool) -> usize {
    let (mut count, mut at) = (0, 0);
    while at < MEMBERS.len() {
        if MEMBERS[at].column_if(of_visit).is_some() {
            count += 1;
        }
        at += 1;
    }
    count
}

/// The columns in the order of their places. Two at one place, or a place past the end, are an error of the build.
const fn columns<const N: usize>(of_visit: bool) -> [(&'static Column, &'static Member); N] {
    let mut placed: [Option<(&Column, &Member)>; N] = [None; N];
    let mut at = 0;
    while at < MEMBERS.len() {
        if let Some(column) = MEMBERS[at].column_if(of_visit) {
            assert!(
                placed[column.place].is_none(),
                "a place is that of one column"
            );
            placed[column.place] = Some((column, &MEMBERS[at]));
        }
        at += 1;
    }
    let mut columns = [(&NO_COLUMN, &MEMBERS[0]); N];
    let mut place = 0;
    while place < N {
        columns[place] = placed[place].expect("as many places as columns, and none taken twice");
        place += 1;
    }
    columns
}

const NO_COLUMN: Column = Column {
    place: 0,
    name: "",
    optional: false,
};
