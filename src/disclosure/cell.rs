//! Whether a group of fields may be shown: enough fields, of enough farms, none of which is most of it.

use std::collections::BTreeMap;
use std::fmt;

use super::field::{FieldWeek, Id};
use super::rule::Rule;

/// A group of fields that may be shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cell {
    /// Its fields.
    pub fields: u32,
    /// Its farms; `None` in a season in which no visit names one.
    pub farms: Option<u32>,
    /// Fields of the farm that has most of them.
    pub largest_farm: u32,
}

/// Why a group is withheld.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Withheld {
    /// It has no field.
    Empty,
    /// It has fewer fields than the setting asks for.
    FewFields {
        /// Fields of the group.
        fields: u32,
        /// What is asked for.
        least: u32,
    },
    /// Its fields are of fewer farms than the setting asks for; fields that name no farm add none.
    FewFarms {
        /// Farms of the group.
        farms: u32,
        /// What is asked for.
        least: u32,
    },
    /// One farm, or all fields that name no farm taken together, has more than half of the fields.
    OneFarm {
        /// Fields of that farm.
        largest: u32,
        /// Fields of the group.
        fields: u32,
    },
}

impl fmt::Display for Withheld {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Withheld::Empty => write!(f, "no field"),
            Withheld::FewFields { fields, least } => {
                write!(f, "fields: {fields}, needed: {least}")
            }
            Withheld::FewFarms { farms, least } => write!(f, "farms: {farms}, needed: {least}"),
            Withheld::OneFarm { largest, fields } => {
                write!(f, "one farm has {largest} of {fields} fields")
            }
        }
    }
}

/// Judges a group by the farms of its fields. `farms_known` says whether any visit of the season names a farm.
///
/// # Errors
/// Why the group is withheld.
pub fn judge(
    farms: impl IntoIterator<Item = Option<Id>>,
    farms_known: bool,
    rule: &Rule,
) -> Result<Cell, Withheld> {
    let mut by_farm: BTreeMap<Option<Id>, u32> = BTreeMap::new();
    for farm in farms {
        *by_farm.entry(farm).or_default() += 1;
    }
    let fields: u32 = by_farm.values().sum();
    let least = rule.least_fields(farms_known);
    if fields == 0 {
        return Err(Withheld::Empty);
    }
    if fields < least {
        return Err(Withheld::FewFields { fields, least });
    }
    if !farms_known {
        return Ok(Cell {
            fields,
            farms: None,
            largest_farm: 1,
        });
    }
    // Fields that name no farm may all be of one: together they are one farm that does not count as one.
    let farms = by_farm.keys().flatten().count() as u32;
    let largest_farm = by_farm.values().copied().max().unwrap_or_default();
    if farms < rule.min_farms {
        return Err(Withheld::FewFarms {
            farms,
            least: rule.min_farms,
        });
    }
    if largest_farm * 2 > fields {
        return Err(Withheld::OneFarm {
            largest: largest_farm,
            fields,
        });
    }
    Ok(Cell {
        fields,
        farms: Some(farms),
        largest_farm,
    })
}

/// Judges fields.
///
/// # Errors
/// Why the group is withheld.
pub(crate) fn judge_fields<'a>(
    fields: impl IntoIterator<Item = &'a FieldWeek>,
    farms_known: bool,
    rule: &Rule,
) -> Result<Cell, Withheld> {
    let farms = fields.into_iter().map(|field| field.farm);
    judge(farms, farms_known, rule)
}

impl Cell {
    /// Whether it is large enough for figures of more detail: ten fields of five farms, none with more than a third.
    pub(crate) fn is_large(&self) -> bool {
        let farms = self.farms.unwrap_or_default();
        self.fields >= 10 && farms >= 5 && self.largest_farm * 3 <= self.fields
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn farm(name: &str) -> Option<Id> {
        Id::of_farm(name)
    }

    fn judged(farms: &[Option<Id>]) -> Result<Cell, Withheld> {
        judge(farms.iter().copied(), true, &Rule::LEAST)
    }

    #[test]
    fn groups_by_hand() {
        let [a, b, c] = ["a", "b", "c"].map(farm);
        assert!(judged(&[a, b, c]).is_ok());
        assert_eq!(judged(&[]), Err(Withheld::Empty));
        let few = Withheld::FewFields {
            fields: 2,
            least: 3,
        };
        assert_eq!(judged(&[a, b]), Err(few));
        let farms = |farms| Err(Withheld::FewFarms { farms, least: 3 });
        // Fields without a farm add no farm.
        assert_eq!(judged(&[None, None, None]), farms(0));
        assert_eq!(judged(&[a, None, None]), farms(1));
        assert_eq!(judged(&[a, b, None]), farms(2));
        // One farm in three spellings.
        let spelled = ["Farm-1", "farm 1", "FARM1"].map(farm);
        assert_eq!(judged(&spelled), farms(1));
        // 18 of 20 fields of one farm; half is allowed.
        let most: Vec<_> = std::iter::repeat_n(a, 18).chain([b, c]).collect();
        let one = Withheld::OneFarm {
            largest: 18,
            fields: 20,
        };
        assert_eq!(judged(&most), Err(one));
        assert!(judged(&[a, a, b, c]).is_ok());
        assert!(judged(&[None, None, None, a, b, c]).is_ok());
        assert!(judged(&[None, None, None, None, a, b, c]).is_err());
    }

    #[test]
    fn without_any_farm_more_fields_are_asked_for() {
        let none = |fields| judge(std::iter::repeat_n(None, fields), false, &Rule::LEAST);
        assert!(none(4).is_err());
        let cell = none(12).expect("twelve fields");
        assert!(!cell.is_large());
    }
}
