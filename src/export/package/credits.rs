//! Whom a package credits: its DOI, its authors, and who funded the work, as the settings have them.

use serde_json::{Value, json};

use super::package_file::one_line;
use crate::workspace::{Creator, DataSettings};

/// The slots of a citation; each may be empty.
#[derive(Debug, Clone, Default)]
pub struct Credits {
    /// DOI without an address.
    pub doi: String,
    /// Authors in their order; none if the office is the author.
    pub(crate) creators: Vec<Creator>,
    /// Who funded the work.
    pub funder: String,
    /// Number of the grant.
    pub award: String,
}

impl Credits {
    /// Those of the settings, without what is not seen.
    pub(crate) fn of(data: &DataSettings) -> Credits {
        let creators = data.creators.iter().map(|creator| Creator {
            given_names: one_line(&creator.given_names),
            family_names: one_line(&creator.family_names),
            orcid: creator.orcid.clone(),
        });
        Credits {
            doi: data.doi.clone(),
            creators: creators.collect(),
            funder: one_line(&data.funder),
            award: one_line(&data.award),
        }
    }

    /// The DOI as an address, which is its form in citations.
    pub(super) fn doi_url(&self) -> Option<String> {
        (!self.doi.is_empty()).then(|| format!("https://doi.org/{}", self.doi))
    }

    /// Who funded the work, a sentence.
    pub(super) fn funding(&self) -> Option<String> {
        let award = match self.award.is_empty() {
            true => String::new(),
            false => format!(" (award {})", self.award),
        };
        (!self.funder.is_empty()).then(|| format!("Funded by {}{award}.", self.funder))
    }

    /// Contributors of a Data Package: authors and funder.
    pub(super) fn contributors(&self) -> Vec<Value> {
        let authors = self.creators.iter().map(|creator| {
            let mut author = json!({
                "title": creator.name(),
                "givenName": creator.given_names,
                "familyName": creator.family_names,
                "roles": ["author"],
            });
            if let Some(url) = creator.orcid_url() {
                author["path"] = json!(url);
            }
            author
        });
        let funder = self.funding().map(
            |funding| json!({ "title": self.funder, "description": funding, "roles": ["funder"] }),
        );
        authors.chain(funder).collect()
    }
}
