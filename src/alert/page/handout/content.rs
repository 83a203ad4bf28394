//! What the PDF and the e-mail say: the words of the page, block by block, in the page's order. How a block looks is not
//! known here.

use super::super::answers::answers;
use super::super::changes::changes_of;
use super::super::county_map::{CountyMap, MapTitle, draw_county_map};
use super::super::county_table::table_rows;
use super::super::districts::area_lines;
use super::super::stage_mix::stages_counted;
use super::super::summary::Summary;
use super::super::when::when_due;
use super::super::wording::{coverage_of_counties, headline_of, paragraph, rule_in_words};
use super::county_block::county_block;
use super::note_blocks::note_blocks;
use crate::alert::bulletin::Bulletin;
use crate::shared::cautions::{Group, standing_cautions};
use crate::shared::passages::sentence_case;
use crate::shared::shown_days::week_in_words;
use crate::shared::shown_names::display_name;
use crate::shared::shown_numbers::join_with_and;
use crate::shared::unseen::plain_text;
use scouting::failure::Failure;

/// A piece of a line of text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Run {
    pub(super) text: String,
    pub(super) bold: bool,
}

/// A table; its first column names the rows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Table {
    pub(super) caption: String,
    pub(super) heads: Vec<String>,
    pub(super) rows: Vec<Row>,
}

/// A row of a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Row {
    pub(super) bold: bool,
    pub(super) cells: Vec<Cell>,
}

/// A cell of a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Cell {
    pub(super) text: String,
    /// How many columns it spans.
    pub(super) columns: usize,
}

/// A block of an alert.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Block {
    /// The notice that data are invented.
    Notice(String),
    /// The headline; there is one.
    Title(String),
    Heading(String),
    Subheading(String),
    Text(Vec<Run>),
    /// What explains the figures.
    Fine(Vec<Run>),
    /// What is about the file and not about the pest.
    Small(String),
    /// An item of a list.
    Item(Vec<Run>),
    /// The county map with its legend.
    Map,
    Table(Table),
}

/// An alert, block by block.
pub(super) struct Content {
    /// Title of the pest.
    pub(super) subject: String,
    /// Such as `week 30 of 2026, July 20–26, 2026`.
    pub(super) week: String,
    pub(super) headline: String,
    pub(super) blocks: Vec<Block>,
    pub(super) map: CountyMap,
    /// What is under the map.
    pub(super) map_caption: String,
    /// Name and version of the program.
    pub(super) program: String,
}

/// The content of an alert.
pub(super) fn content(bulletin: &Bulletin) -> Result<Content, Failure> {
    let week = week_in_words(bulletin.week()?, bulletin.weeks);
    let protocol = bulletin.protocol;
    let words = protocol.words();
    let summary = Summary::of(bulletin.region, bulletin.rows, words);
    let title = MapTitle {
        subject: &protocol.title,
        week: &week,
        words,
    };
    Ok(Content {
        subject: plain_text(&protocol.title),
        headline: headline_of(bulletin),
        blocks: [
            top(bulletin, &summary, &week),
            words_of_others(bulletin),
            figures(bulletin, &summary, &week),
            what_next(bulletin),
            cautions(bulletin),
            method(bulletin),
            foot(bulletin),
        ]
        .concat(),
        map: draw_county_map(bulletin.region, bulletin.rows, title),
        map_caption: format!(
            "Class of the median pressure by county; 1 is {}. Thick outline: at least one {} {}.",
            words.at(),
            words.one(),
            words.at()
        ),
        program: bulletin.program_version.to_owned(),
        week,
    })
}

fn top(bulletin: &Bulletin, summary: &Summary, week: &str) -> Vec<Block> {
    let protocol = bulletin.protocol;
    let words = protocol.words();
    let mut blocks = Vec::new();
    let notice = bulletin.region.invented().map(plain_text);
    blocks.extend(notice.map(Block::Notice));
    let region = display_name(bulletin.region.title());
    let place = match region.is_empty() {
        true => String::new(),
        false => format!(" in {region}"),
    };
    blocks.push(Block::Text(vec![
        bold(&plain_text(&protocol.title)),
        plain(&format!("{place}, {week}")),
    ]));
    if let Some(issue) = bulletin.issue {
        let replaced = issue.replaces.as_ref();
        let correction =
            replaced.map(|replaced| format!(" Correction: it replaces alert {}.", replaced.number));
        blocks.push(Block::Small(
            issue.in_words() + &correction.unwrap_or_default(),
        ));
    }
    blocks.push(Block::Title(headline_of(bulletin)));
    let at_top = protocol.cautions_at_top.iter();
    blocks.extend(at_top.map(|text| named("Caution.", text)));
    let facts = answers(bulletin, summary).titled().into_iter();
    blocks.extend(facts.map(|(name, fact)| named(&format!("{name}:"), &fact)));
    blocks.push(text(&paragraph(bulletin)));
    let stages = stages_counted(&bulletin.so_far.stages, bulletin.iso_week)
        .map(|stages| format!("Stages of the {} counted: {stages}.", words.several()));
    let staged: Vec<String> = stages
        .into_iter()
        .chain(protocol.count_timing.clone())
        .collect();
    if !staged.is_empty() {
        blocks.push(text(&staged.join(" ")));
    }
    blocks.push(Block::Text(vec![bold(&format!(
        "{} Scout your own fields first, and see the cautions below.",
        protocol.county_figures()
    ))]));
    blocks
}

/// What somebody wrote, and what a correction changed.
fn words_of_others(bulletin: &Bulletin) -> Vec<Block> {
    let mut blocks = Vec::new();
    if let Some(note) = bulletin.note {
        blocks.push(heading("Entomologist's comments"));
        blocks.push(Block::Small(
            "Written by the issuing office; not computed.".to_owned(),
        ));
        blocks.extend(note_blocks(note));
    }
    if let Some(changes) = changes_of(bulletin) {
        blocks.push(heading(
            "What changed since the alert that this one replaces",
        ));
        if changes.is_empty() {
            blocks.push(text(&bulletin.protocol.words().said(
                "Neither the class of the median nor the number of fields at threshold has changed in any place.",
            )));
        }
        blocks.extend(changes.into_iter().map(|change| {
            Block::Item(vec![
                bold(&change.place),
                plain(&format!(": {}.", change.words)),
            ])
        }));
    }
    blocks
}

fn figures(bulletin: &Bulletin, summary: &Summary, week: &str) -> Vec<Block> {
    let words = summary.words;
    let several = words.several();
    let mut blocks = vec![heading("The map"), Block::Map];
    let without_outline = bulletin.region.without_shape().iter();
    let without_outline: Vec<_> = without_outline.map(|c| summary.name(&c.id)).collect();
    if let Some(counties) = join_with_and(&without_outline) {
        blocks.push(text(&format!(
            "The boundaries have no outline for {counties}."
        )));
    }
    blocks.push(heading("Results by county"));
    let rows = table_rows(bulletin, summary);
    blocks.push(match rows.is_empty() {
        true => text(&format!(
            "No county has enough sampled {several} to report."
        )),
        false => county_block(bulletin, rows, week),
    });
    if let Some(counties) = join_with_and(&summary.without_figures) {
        blocks.push(text(&format!(
            "No figures (not visited, or too few {several} to publish): {counties}."
        )));
    }
    let areas = area_lines(bulletin);
    if !areas.is_empty() {
        blocks.push(heading("The region and its districts"));
    }
    blocks.extend(areas.into_iter().map(|area| {
        Block::Item(vec![
            bold(&format!("{}:", area.place)),
            plain(&format!(" {}.", area.said)),
        ])
    }));
    blocks.push(heading("Reporting status (preliminary)"));
    let now = bulletin.season_now.map(|now| format!("{now} "));
    blocks.push(text(&format!(
        "{}{} Every report received by {} is included. {} {} were not a random sample of the region. Late and corrected visits \
         may change the figures; a correction has its own number and says what changed.",
        now.unwrap_or_default(),
        coverage_of_counties(summary),
        bulletin.generated_at,
        bulletin.still_to_come,
        sentence_case(several),
    )));
    blocks
}

/// What to do, or to consider, after the figures.
fn what_next(bulletin: &Bulletin) -> Vec<Block> {
    let protocol = bulletin.protocol;
    let window = protocol.treatment_window.as_ref().map(|stages| {
        format!(
            "Counts are taken at {}; treatment works at {stages}.",
            protocol.stage_window
        )
    });
    let due = when_due(
        bulletin.rows,
        protocol.treatment_stage.as_deref(),
        &protocol.level_of_one(),
    );
    // A few sentences each, which paper has no room to set apart.
    let timing: Vec<String> = protocol
        .treatment
        .clone()
        .into_iter()
        .chain(window)
        .collect();
    let timing = (!timing.is_empty()).then(|| timing.join(" "));
    let said: Vec<Block> = [timing, protocol.hatch.clone(), due]
        .into_iter()
        .flatten()
        .map(|said| text(&said))
        .collect();
    match said.is_empty() {
        true => said,
        false => [vec![heading(&protocol.next_heading())], said].concat(),
    }
}

fn cautions(bulletin: &Bulletin) -> Vec<Block> {
    let protocol = bulletin.protocol;
    let mut blocks = vec![heading("Cautions")];
    if !protocol.cautions.is_empty() {
        blocks.push(Block::Subheading("For this count".to_owned()));
        let own = protocol.cautions.iter();
        blocks.extend(own.map(|text| Block::Item(vec![plain(text)])));
    }
    let crop = (&*protocol.crop, protocol.treatment_stage.as_deref());
    let standing = standing_cautions([crop]);
    for group in Group::ALL {
        blocks.push(Block::Subheading(group.heading().to_owned()));
        let of_group = standing.iter().filter(|caution| caution.group == group);
        blocks.extend(of_group.map(|caution| {
            Block::Item(vec![
                bold(&format!("{}.", caution.title)),
                plain(&format!(" {}", caution.text)),
            ])
        }));
    }
    blocks
}

fn method(bulletin: &Bulletin) -> Vec<Block> {
    let protocol = bulletin.protocol;
    let words = protocol.words();
    let mut blocks = vec![
        heading("What the numbers mean"),
        Block::Fine(vec![plain(&protocol.pressure_in_words())]),
    ];
    if let Some(worked) = &protocol.worked {
        let name = format!("A worked {}.", words.level());
        blocks.push(fine(&name, &format!("{} {}", worked.us, worked.outcome)));
    }
    let counted = words.said(
        "The percent of fields at threshold has a 95% Wilson score interval, and the chance over ⅓ is the posterior \
         probability (Jeffreys prior) that more than a third of all fields are at threshold. Both assume that the fields are a \
         random sample. Scouts seldom choose fields at random, and fields of one farm resemble each other, so the true \
         uncertainty is larger. Half of the fields are at or below the median.",
    );
    blocks.push(fine(
        "How it is counted.",
        &format!(
            "A {} counts once a week, with its last visit in the stage window ({}); counts up to {} days after a treatment are \
             left out. {counted} {}",
            words.one(),
            protocol.stage_window,
            protocol.days_after_treatment,
            rule_in_words(bulletin.rule, words)
        ),
    ));
    blocks.push(fine(
        &format!("Source of the {}.", words.level()),
        &protocol.source,
    ));
    blocks
}

fn foot(bulletin: &Bulletin) -> Vec<Block> {
    let mut blocks = Vec::new();
    if !bulletin.contact.is_empty() {
        blocks.push(named("Contact.", &display_name(bulletin.contact)));
    }
    if let Some(folder) = bulletin.public_folder {
        blocks.push(named(
            "This alert on the web:",
            &format!("{folder}alert.html"),
        ));
    }
    blocks.push(Block::Small(format!(
        "Made {} by {} from store version {}, protocol {}, ISO week {}. County boundaries: {}, vintage {}.",
        bulletin.generated_at,
        bulletin.program_version,
        bulletin.store_version,
        bulletin.protocol.id,
        bulletin.iso_week,
        plain_text(bulletin.region.source()),
        plain_text(bulletin.region.vintage()),
    )));
    blocks
}

pub(super) fn plain(text: &str) -> Run {
    Run {
        text: text.to_owned(),
        bold: false,
    }
}

pub(super) fn bold(text: &str) -> Run {
    Run {
        text: text.to_owned(),
        bold: true,
    }
}

fn text(said: &str) -> Block {
    Block::Text(vec![plain(said)])
}

fn named(name: &str, said: &str) -> Block {
    Block::Text(vec![bold(name), plain(&format!(" {said}"))])
}

fn fine(name: &str, said: &str) -> Block {
    Block::Fine(vec![bold(name), plain(&format!(" {said}"))])
}

fn heading(said: &str) -> Block {
    Block::Heading(said.to_owned())
}

pub(super) fn cell(text: &str) -> Cell {
    Cell {
        text: text.to_owned(),
        columns: 1,
    }
}
