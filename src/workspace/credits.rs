//! Whom a data package names besides the office: its authors with their ORCID iDs, its DOI, who funded the work.

use serde::Deserialize;

/// Longest DOI that is taken.
const DOI_LETTERS_MAX: usize = 200;

/// An author of the packages.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Creator {
    /// Given names.
    pub given_names: String,
    /// Family names.
    pub family_names: String,
    /// ORCID iD, such as `0000-0002-1825-0097`; empty if there is none.
    #[serde(default)]
    pub orcid: String,
}

impl Creator {
    /// The iD as an address, which is its form in citations.
    pub(crate) fn orcid_url(&self) -> Option<String> {
        let is_given = !self.orcid.is_empty();
        is_given.then(|| format!("https://orcid.org/{}", self.orcid))
    }

    /// Given and family names.
    pub(crate) fn name(&self) -> String {
        format!("{} {}", self.given_names, self.family_names)
    }
}

/// Whether a text is an ORCID iD: four times four digits, the last of which is the check character of ISO 7064,
/// MOD 11-2, over the others.
pub(super) fn is_orcid(text: &str) -> bool {
    let groups: Vec<&str> = text.split('-').collect();
    let digits: Vec<char> = groups.concat().chars().collect();
    let in_fours = groups.len() == 4 && groups.iter().all(|group| group.len() == 4);
    let Some((check, numbers)) = digits.split_last() else {
        return false;
    };
    let sum = numbers
        .iter()
        .try_fold(0, |sum, digit| Some((sum + digit.to_digit(10)?) * 2 % 11));
    let Some(sum) = sum.filter(|_| in_fours) else {
        return false;
    };
    match (12 - sum) % 11 {
        10 => *check == 'X',
        value => check.to_digit(10) == Some(value),
    }
}

/// Whether a text is a DOI without an address around it: `10.`, four to nine digits, a slash, and a suffix of the
/// characters that the Citation File Format takes.
pub(super) fn is_doi(text: &str) -> bool {
    let Some((registrant, suffix)) = text
        .strip_prefix("10.")
        .and_then(|rest| rest.split_once('/'))
    else {
        return false;
    };
    let is_suffix = |c: char| c.is_ascii_alphanumeric() || ":/_;-.()[]".contains(c);
    (4..=9).contains(&registrant.len())
        && registrant.chars().all(|c| c.is_ascii_digit())
        && !suffix.is_empty()
        && text.len() <= DOI_LETTERS_MAX
        && suffix.chars().all(is_suffix)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The iDs that ORCID shows in its own description of their structure.
    #[test]
    fn the_check_character_of_an_orcid_id_is_that_of_iso_7064() {
        for right in [
            "0000-0002-1825-0097",
            "0000-0001-5109-3700",
            "0000-0002-1694-233X",
        ] {
            assert!(is_orcid(right), "{right}");
        }
        for wrong in [
            "",
            "0000-0002-1825-0098",
            "0000-0002-1852-0097",
            "0000-0002-1694-233x",
            "0000-0002-1694-2330",
            "0000000218250097",
            "000-00002-1825-0097",
            "0000-0002-1825-0097-",
            "https://orcid.org/0000-0002-1825-0097",
            "000X-0002-1825-0097",
        ] {
            assert!(!is_orcid(wrong), "{wrong}");
        }
    }

    #[test]
    fn a_doi_is_a_prefix_and_a_suffix_and_no_address() {
        for right in [
            "10.5281/zenodo.5171937",
            "10.1000/182",
            "10.12345/a(b)/c_d;e:f",
        ] {
            assert!(is_doi(right), "{right}");
        }
        for wrong in [
            "",
            "10.5281",
            "10.5281/",
            "10.528/x",
            "11.5281/x",
            "10.5281/a b",
            "https://doi.org/10.5281/x",
            "doi:10.5281/x",
            "10.5281/x\"<",
        ] {
            assert!(!is_doi(wrong), "{wrong}");
        }
    }
}
