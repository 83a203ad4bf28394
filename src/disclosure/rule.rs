//! The settings of disclosure control, and their least values.

use serde::{Deserialize, Serialize};

/// From so many fields on the class of the median, and the weeks of treatment, are shown.
pub(super) const FIELDS_FOR_MEDIAN: u32 = 5;

/// How much a public row says.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, Default,
)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    /// Counts by place, for offices whose growers agreed to that.
    #[default]
    Survey,
    /// Intervals of counts.
    Strict,
}

impl Level {
    /// Its name in settings and tables.
    pub fn word(self) -> &'static str {
        match self {
            Level::Survey => "survey",
            Level::Strict => "strict",
        }
    }
}

/// The smallest groups that are shown, and how they are shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rule {
    /// How much a row says.
    pub level: Level,
    /// Fewest fields of a row.
    pub min_fields: u32,
    /// Fewest farms of a row.
    pub min_farms: u32,
    /// Fewest fields of a row in a season in which no visit names a farm: each field may be a farm's only one, or
    /// all may be of one farm, so more are asked for.
    pub min_fields_without_farms: u32,
}

impl Rule {
    /// The least that settings may ask for. With two fields each grower computes the other's figure; with three of
    /// three farms each faces two unknowns.
    pub const LEAST: Rule = Rule {
        level: Level::Survey,
        min_fields: 3,
        min_farms: 3,
        min_fields_without_farms: 5,
    };

    /// Fewest fields of a row in a season of which a visit names a farm, or of which none does.
    pub fn least_fields(&self, farms_known: bool) -> u32 {
        match farms_known {
            true => self.min_fields,
            false => self.min_fields_without_farms,
        }
    }

    /// The stricter of two rules in each of their settings.
    pub fn stricter(self, other: Rule) -> Rule {
        Rule {
            level: self.level.max(other.level),
            min_fields: self.min_fields.max(other.min_fields),
            min_farms: self.min_farms.max(other.min_farms),
            min_fields_without_farms: self
                .min_fields_without_farms
                .max(other.min_fields_without_farms),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stricter_rule_has_the_greater_of_each_setting() {
        let one = Rule {
            min_fields: 6,
            ..Rule::LEAST
        };
        let other = Rule {
            level: Level::Strict,
            min_farms: 4,
            ..Rule::LEAST
        };
        let both = one.stricter(other);
        assert_eq!(both, other.stricter(one));
        assert_eq!((both.level, both.min_fields), (Level::Strict, 6));
        assert_eq!((both.min_farms, both.min_fields_without_farms), (4, 5));
    }
}
