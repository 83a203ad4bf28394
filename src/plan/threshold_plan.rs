//! `bractline plan threshold`: the threshold of a field by treatment cost and market price, in a terminal and as a page to
//! print.

use std::path::PathBuf;

use askama::Template;
use serde::Serialize;

use super::threshold::GivenThreshold;
use super::threshold_table::{ShownTable, ThresholdTable, crop_type_of_costs, worked_economics};
use super::threshold_words::{caption, lines};
use crate::shared::cautions::OF_A_THRESHOLD;
use crate::shared::files::write_folder;
use crate::shared::passages::{Passage, cautions_in_short, one_line};
use crate::shared::shown_numbers::Units;
use crate::shared::tables::csv_of;
use crate::workspace::Workspace;
use crate::workspace::open::open_catalogue;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::{Catalogue, Protocol};
use scouting::visit::record::Economics;

/// Which table is made.
pub(crate) struct TableOptions {
    /// Id of the protocol.
    pub(crate) protocol: String,
    /// The field around whose costs and prices the table is; what is not given is that of the settings' defaults, then
    /// that of the protocol's worked example.
    pub(crate) field: GivenThreshold,
    /// Output folder.
    pub(crate) out: Option<PathBuf>,
}

/// What is reported.
#[derive(Serialize)]
pub(crate) struct Tabulated {
    protocol: String,
    name: String,
    #[serde(flatten)]
    table: ThresholdTable,
    formula: String,
    source: String,
    caution: &'static str,
    files: Vec<PathBuf>,
}

/// The page to print.
#[derive(Template)]
#[template(
    path = "threshold_card.html",
    config = "src/shared/templates/askama.toml"
)]
struct Card<'a> {
    protocol: &'a Protocol,
    caption: String,
    table: &'a ShownTable,
    formula: &'a str,
    source: &'a str,
    caution: &'static str,
    cautions: Vec<Passage>,
    program: &'static str,
}

impl TableOptions {
    /// Makes the table, and writes the files if a folder is named.
    ///
    /// # Errors
    /// A [`Failure`] that names the option, if the protocol's threshold depends on no cost and price, or an amount is
    /// lacking.
    pub(crate) fn table(self, workspace: Option<&Workspace>) -> Result<Tabulated, Failure> {
        let catalogue = match workspace {
            Some(workspace) => open_catalogue(workspace)?,
            None => Catalogue::read(None, store::stages::expression::plan)?,
        };
        let protocol = catalogue.protocol(&self.protocol).ok_or_else(|| {
            Failure::new(Kind::Protocol, format!("no protocol {:?}", self.protocol))
                .at("--protocol")
                .mend(format!("the catalog has {}", catalogue.ids()))
        })?;
        let units = workspace.map_or_else(Units::default, |one| one.settings().units.system);
        let usual = crop_type_of_costs(protocol);
        let crop_type = self.field.crop_type_or(protocol, usual)?.to_owned();
        let crop_stage = self.field.stage(protocol)?;
        let defaults = workspace.and_then(|one| one.settings().defaults.get(&crop_type));
        let example = worked_economics(protocol).unwrap_or_default();
        let others: Vec<&Economics> = defaults.into_iter().chain([&example]).collect();
        let economics = self
            .field
            .plausible_economics(protocol, &crop_type, &others)?;
        let field = (&*crop_type, &*crop_stage);
        let fixed = || {
            let what = format!(
                "the threshold of {} for {crop_type} depends on no treatment cost and market price",
                protocol.id
            );
            Failure::new(Kind::Protocol, what)
                .at("--protocol")
                .mend("see its threshold with: bractline protocols show ID")
        };
        if !ThresholdTable::depends_on_costs(protocol, &crop_type) {
            return Err(fixed());
        }
        let table = ThresholdTable::around(protocol, field, &economics, units)?;
        let mut tabulated = Tabulated {
            protocol: protocol.id.clone(),
            name: protocol.threshold.kind.words().to_owned(),
            table: table.ok_or_else(fixed)?,
            formula: one_line(&protocol.threshold.formula),
            source: one_line(&protocol.threshold.source),
            caution: OF_A_THRESHOLD,
            files: Vec::new(),
        };
        if let Some(folder) = &self.out {
            let csv = csv_of(tabulated.table.cells())?;
            let page = tabulated.page(protocol)?;
            let files: [(&str, &[u8]); 2] = [
                ("threshold_table.csv", &csv),
                ("threshold_table.html", page.as_bytes()),
            ];
            write_folder(folder, &files)?;
            tabulated.files = files.map(|(name, _)| folder.join(name)).into();
        }
        Ok(tabulated)
    }
}

impl Tabulated {
    fn caption(&self, shown: &ShownTable) -> String {
        caption(shown, &self.name, &self.table.counted)
    }

    /// For people.
    pub(crate) fn text(&self) -> String {
        let shown = self.table.shown();
        let mut said = vec![self.caption(&shown), String::new()];
        said.extend(lines(&shown));
        said.push(String::new());
        said.push(format!("Formula: {}.", self.formula));
        said.push(self.caution.to_owned());
        said.extend(self.files.iter().map(|file| file.display().to_string()));
        said.join("\n")
    }

    fn page(&self, protocol: &Protocol) -> Result<String, Failure> {
        let shown = self.table.shown();
        let card = Card {
            protocol,
            caption: self.caption(&shown),
            table: &shown,
            formula: &self.formula,
            source: &self.source,
            caution: self.caution,
            cautions: cautions_in_short(protocol),
            program: concat!("bractline ", env!("CARGO_PKG_VERSION")),
        };
        card.render().map_err(|error| {
            let what = "cannot write the table of thresholds";
            Failure::because(Kind::Publish, what, error).at(&*protocol.id)
        })
    }
}
