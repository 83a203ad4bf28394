//! The layout of a count sheet: its tabs, its columns and the mark by which it is recognized.
//!
//! It is here because two steps need it that may not know each other: `publish::count_sheet` writes
//! the sheet and `intake::count_sheet` reads it back. Neither cells nor files are known here.

use super::catalogue::{Layout, Protocol};
use crate::visit::record::CountForm;

/// The layout that this version writes and reads. A change that the reader would misread gets a new number.
pub const LAYOUT: &str = "count-sheet 1";
/// What every layout begins with, so that one of a later version is recognized as such.
pub const LAYOUT_FAMILY: &str = "count-sheet ";

/// The hidden tab of keys and values.
pub const MARK_TAB: &str = "bractline";
/// The tab of plain words.
pub const INSTRUCTIONS_TAB: &str = "Instructions";
/// One row per visit.
pub const VISITS_TAB: &str = "Visits";
/// One row per unit.
pub const COUNTS_TAB: &str = "Counts";

/// Key of the layout.
pub const MARK_LAYOUT: &str = "layout";
/// Key of the protocol's id.
pub const MARK_PROTOCOL: &str = "protocol";
/// Key of the form of the counts: heads, plants or traps.
pub const MARK_FORM: &str = "count form";
/// Key of the bracts of a head; there is no such row for plants and traps.
pub const MARK_BRACTS: &str = "bracts per head";
/// Key of the sites that are laid out for a visit.
pub const MARK_SITES: &str = "sites per visit";
/// Key of the units that are laid out for a site.
pub const MARK_UNITS: &str = "units per site";
/// Key of the form of days; sheets of earlier versions have no such row, and days as 2026-07-21.
pub const MARK_DAYS: &str = "days";
/// Key of the program's version, for people.
pub const MARK_PROGRAM: &str = "program version";

/// What is before the protocol's id on the tab of plain words, for people, and for sheets that have lost the hidden tab.
pub const PROTOCOL_LINE: &str = "Protocol: ";

/// What sheets of earlier versions print behind the name of the area, which had no unit of its own.
pub const AREA_IN_HECTARES: &str = "ha";

/// Bracts laid out for a head where the protocol leaves their number open.
const BRACTS_WHERE_OPEN: usize = 6;

/// The bracts of a head on this protocol's sheet.
pub fn bracts_per_head(protocol: &Protocol) -> usize {
    protocol.sample.counts_per_unit.unwrap_or(BRACTS_WHERE_OPEN)
}

/// The form in which a sheet asks for days as text. A cell that is a date has none, and 2026-07-21 is read from either.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DayForm {
    /// `2026-07-21`.
    #[default]
    YearFirst,
    /// `7/21/2026`.
    MonthFirst,
}

impl DayForm {
    /// As headings and the mark write it.
    pub fn name(self) -> &'static str {
        match self {
            DayForm::YearFirst => "YYYY-MM-DD",
            DayForm::MonthFirst => "MM/DD/YYYY",
        }
    }
}

/// A column of the tab Visits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum VisitColumn {
    /// Number that ties a visit to its counts, within this workbook alone.
    Visit,
    /// `observed_on`.
    Day,
    /// `observer_id`.
    Scout,
    /// `field_id`.
    Field,
    /// `farm_id`.
    Farm,
    /// `lon`.
    Longitude,
    /// `lat`.
    Latitude,
    /// `area_ha`, in the unit of the next column.
    Area,
    /// Unit of the area.
    AreaIn,
    /// `crop_type`.
    CropType,
    /// `crop_stage`.
    CropStage,
    /// `treated_on`.
    TreatedOn,
    /// `treatment`.
    Treatment,
    /// Amount of `treatment_cost`.
    Cost,
    /// Unit of area of `treatment_cost`.
    CostPer,
    /// Currency of `treatment_cost` and `market_value`: the rules ask for the same.
    Currency,
    /// Amount of `market_value`.
    Value,
    /// Unit of weight of `market_value`.
    ValuePer,
    /// Count of `plant_population`.
    Plants,
    /// Unit of area of `plant_population`.
    PlantsPer,
    /// `remarks`.
    Remarks,
    /// `revision`.
    Revision,
    /// `submitted_at`.
    HandedIn,
}

impl VisitColumn {
    /// Every column, from left to right.
    pub const ALL: [VisitColumn; 23] = [
        VisitColumn::Visit,
        VisitColumn::Day,
        VisitColumn::Scout,
        VisitColumn::Field,
        VisitColumn::Farm,
        VisitColumn::Longitude,
        VisitColumn::Latitude,
        VisitColumn::Area,
        VisitColumn::AreaIn,
        VisitColumn::CropType,
        VisitColumn::CropStage,
        VisitColumn::TreatedOn,
        VisitColumn::Treatment,
        VisitColumn::Cost,
        VisitColumn::CostPer,
        VisitColumn::Currency,
        VisitColumn::Value,
        VisitColumn::ValuePer,
        VisitColumn::Plants,
        VisitColumn::PlantsPer,
        VisitColumn::Remarks,
        VisitColumn::Revision,
        VisitColumn::HandedIn,
    ];

    /// Its place among all columns.
    pub fn place(self) -> usize {
        let place = VisitColumn::ALL.iter().position(|column| *column == self);
        place.expect("every column is among all of them")
    }

    /// What the column is called in messages.
    pub fn name(self) -> &'static str {
        match self {
            VisitColumn::Visit => "Visit",
            VisitColumn::Day => "Day",
            VisitColumn::Scout => "Scout",
            VisitColumn::Field => "Field",
            VisitColumn::Farm => "Farm",
            VisitColumn::Longitude => "Longitude",
            VisitColumn::Latitude => "Latitude",
            VisitColumn::Area => "Area",
            VisitColumn::AreaIn => "Area in",
            VisitColumn::CropType => "Crop type",
            VisitColumn::CropStage => "Crop stage",
            VisitColumn::TreatedOn => "Treated on",
            VisitColumn::Treatment => "Treatment",
            VisitColumn::Cost => "Treatment cost",
            VisitColumn::CostPer => "Cost per",
            VisitColumn::Currency => "Currency",
            VisitColumn::Value => "Market value",
            VisitColumn::ValuePer => "Value per",
            VisitColumn::Plants => "Plants",
            VisitColumn::PlantsPer => "Plants per",
            VisitColumn::Remarks => "Remarks",
            VisitColumn::Revision => "Revision",
            VisitColumn::HandedIn => "Submitted",
        }
    }

    /// The unit, or the form in which to write.
    pub fn unit(self) -> &'static str {
        match self {
            VisitColumn::Visit => "number",
            VisitColumn::Day => "YYYY-MM-DD",
            VisitColumn::Scout | VisitColumn::Field => "pseudonym",
            VisitColumn::Farm => "ID code, optional",
            VisitColumn::Longitude => "degrees, west is minus",
            VisitColumn::Latitude => "degrees, south is minus",
            VisitColumn::Area => "number",
            VisitColumn::CropType | VisitColumn::CropStage => "from the list",
            VisitColumn::TreatedOn => "YYYY-MM-DD, if treated",
            VisitColumn::Treatment => "the latest, if known",
            VisitColumn::Cost | VisitColumn::Value => "amount, if known",
            VisitColumn::AreaIn | VisitColumn::CostPer | VisitColumn::PlantsPer => "acre or ha",
            VisitColumn::Currency => "three letters",
            VisitColumn::ValuePer => "lb, cwt or kg",
            VisitColumn::Plants => "plants, if known",
            VisitColumn::Remarks => "optional",
            VisitColumn::Revision => "1, 2 …",
            VisitColumn::HandedIn => "UTC, optional",
        }
    }

    /// The unit of a sheet with days in this form.
    pub fn unit_with(self, days: DayForm) -> &'static str {
        match (self, days) {
            (VisitColumn::Day, DayForm::MonthFirst) => "MM/DD/YYYY",
            (VisitColumn::TreatedOn, DayForm::MonthFirst) => "MM/DD/YYYY, if treated",
            _ => self.unit(),
        }
    }

    /// Whether this version or an earlier one prints these words in brackets behind the column's name.
    pub fn has_printed(self, words: &str) -> bool {
        let earlier = match self {
            VisitColumn::Area => AREA_IN_HECTARES,
            VisitColumn::ValuePer => "lb or kg",
            _ => self.unit(),
        };
        [self.unit(), earlier]
            .iter()
            .any(|printed| printed.eq_ignore_ascii_case(words))
    }

    /// Whether another unit or sign in the heading would make another value of the same number.
    pub fn is_measured(self) -> bool {
        matches!(
            self,
            VisitColumn::Longitude
                | VisitColumn::Latitude
                | VisitColumn::Area
                | VisitColumn::Cost
                | VisitColumn::Value
                | VisitColumn::Plants
                | VisitColumn::HandedIn
        )
    }

    /// The column of an amount's unit.
    pub fn unit_column(self) -> Option<VisitColumn> {
        match self {
            VisitColumn::Area => Some(VisitColumn::AreaIn),
            VisitColumn::Cost => Some(VisitColumn::CostPer),
            VisitColumn::Value => Some(VisitColumn::ValuePer),
            VisitColumn::Plants => Some(VisitColumn::PlantsPer),
            _ => None,
        }
    }

    /// The member of the record; `""` for what stays within the workbook: the visit's number, and the unit of the area.
    pub fn pointer(self) -> &'static str {
        match self {
            VisitColumn::Visit | VisitColumn::AreaIn => "",
            VisitColumn::Day => "/observed_on",
            VisitColumn::Scout => "/observer_id",
            VisitColumn::Field => "/field/field_id",
            VisitColumn::Farm => "/field/farm_id",
            VisitColumn::Longitude => "/field/lon",
            VisitColumn::Latitude => "/field/lat",
            VisitColumn::Area => "/field/area_ha",
            VisitColumn::CropType => "/field/crop_type",
            VisitColumn::CropStage => "/crop_stage",
            VisitColumn::TreatedOn => "/treated_on",
            VisitColumn::Treatment => "/treatment",
            VisitColumn::Cost => "/economics/treatment_cost/amount",
            VisitColumn::CostPer => "/economics/treatment_cost/per",
            VisitColumn::Currency => "/economics/treatment_cost/currency",
            VisitColumn::Value => "/economics/market_value/amount",
            VisitColumn::ValuePer => "/economics/market_value/per",
            VisitColumn::Plants => "/economics/plant_population/count",
            VisitColumn::PlantsPer => "/economics/plant_population/per",
            VisitColumn::Remarks => "/remarks",
            VisitColumn::Revision => "/revision",
            VisitColumn::HandedIn => "/submitted_at",
        }
    }

    /// Whether a visit may leave the cell blank. Costs, prices and plant populations may be unknown to scouts; a unit
    /// is needed only with its amount ([`VisitColumn::amounts`]).
    pub fn is_optional(self) -> bool {
        matches!(
            self,
            VisitColumn::Farm
                | VisitColumn::TreatedOn
                | VisitColumn::Treatment
                | VisitColumn::Cost
                | VisitColumn::Value
                | VisitColumn::Plants
                | VisitColumn::Remarks
                | VisitColumn::Revision
                | VisitColumn::HandedIn
        )
    }

    /// The amounts whose unit the column holds; none for a column that is no unit.
    pub fn amounts(self) -> &'static [VisitColumn] {
        match self {
            VisitColumn::AreaIn => &[VisitColumn::Area],
            VisitColumn::CostPer => &[VisitColumn::Cost],
            VisitColumn::Currency => &[VisitColumn::Cost, VisitColumn::Value],
            VisitColumn::ValuePer => &[VisitColumn::Value],
            VisitColumn::PlantsPer => &[VisitColumn::Plants],
            _ => &[],
        }
    }
}

/// A column of the tab Counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CountColumn {
    /// The visit's number.
    Visit,
    /// The site's number.
    Site,
    /// The side of the field on which the site is.
    Side,
    /// The unit's number within its site.
    Unit(CountForm),
    /// The count on a bract, numbered from 1.
    Bract(usize),
    /// All that is on a head, in place of its bracts.
    Total,
    /// The count on a plant.
    Count,
    /// What a trap caught.
    Catch,
    /// The trap-nights of a catch.
    Nights,
}

impl CountColumn {
    /// The columns of a form, from left to right. Only sites along the edge are on a side; only some protocols take one
    /// total for a head.
    pub fn of(form: CountForm, bracts: usize, layout: Layout, totals: bool) -> Vec<CountColumn> {
        let mut columns = vec![CountColumn::Visit, CountColumn::Site];
        if layout == Layout::Edge {
            columns.push(CountColumn::Side);
        }
        columns.push(CountColumn::Unit(form));
        columns.extend(CountColumn::counts(form, bracts, totals));
        columns
    }

    /// The columns that hold the counts of one unit.
    pub fn counts(form: CountForm, bracts: usize, totals: bool) -> Vec<CountColumn> {
        match form {
            CountForm::Heads => {
                let total = totals.then_some(CountColumn::Total);
                (1..=bracts).map(CountColumn::Bract).chain(total).collect()
            }
            CountForm::Plants => vec![CountColumn::Count],
            CountForm::Traps => vec![CountColumn::Catch, CountColumn::Nights],
        }
    }

    /// What the column is called in messages.
    pub fn name(self) -> String {
        match self {
            CountColumn::Visit => "Visit".to_owned(),
            CountColumn::Site => "Site".to_owned(),
            CountColumn::Side => "Side".to_owned(),
            CountColumn::Unit(form) => unit_name(form).to_owned(),
            CountColumn::Bract(number) => format!("Bract {number}"),
            CountColumn::Total => "Total".to_owned(),
            CountColumn::Count => "Count".to_owned(),
            CountColumn::Catch => "Catch".to_owned(),
            CountColumn::Nights => "Nights".to_owned(),
        }
    }

    /// The unit, or the form in which to write.
    pub fn unit(self) -> &'static str {
        match self {
            CountColumn::Side => "once a site",
            CountColumn::Bract(_) => "count",
            CountColumn::Total => "in place of bracts",
            _ => "number",
        }
    }
}

/// The heading of a column: its name and, on the next line, its unit. A reader takes any white space for one
/// space.
pub fn heading(name: &str, unit: &str) -> String {
    format!("{name}\n({unit})")
}

/// What one unit is called: `Head`.
pub fn unit_name(form: CountForm) -> &'static str {
    match form {
        CountForm::Heads => "Head",
        CountForm::Plants => "Plant",
        CountForm::Traps => "Trap",
    }
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;

    use super::*;

    #[test]
    fn no_two_columns_of_a_tab_have_one_name() {
        let names: HashSet<_> = VisitColumn::ALL
            .iter()
            .map(|column| column.name())
            .collect();
        assert_eq!(names.len(), VisitColumn::ALL.len());
        for form in [CountForm::Heads, CountForm::Plants, CountForm::Traps] {
            let columns = CountColumn::of(form, 6, Layout::Edge, true);
            let names: HashSet<_> = columns.iter().map(|column| column.name()).collect();
            assert_eq!(names.len(), columns.len(), "{form:?}");
        }
    }

    #[test]
    fn only_sites_along_the_edge_have_a_side() {
        let columns = |layout| CountColumn::of(CountForm::Heads, 6, layout, false);
        assert!(columns(Layout::Edge).contains(&CountColumn::Side));
        assert!(!columns(Layout::Interior).contains(&CountColumn::Side));
    }
}
