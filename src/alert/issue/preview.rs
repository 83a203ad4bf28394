//! What an alert would make public, for whoever confirms it, and what became of alerts that are issued already.

use super::as_issued::week_of;
use super::desk::{Desk, Made};
use crate::alert::chosen::{protocol_of, publishing};
use crate::alert::page::changes::{PlaceChange, changes};
use crate::alert::page::summary::Summary;
use crate::alert::pest_line::shown_rows;
use crate::figures::rolled_up::Figures;
use crate::shared::count_words::CountWords;
use crate::shared::report::{LISTED_MAX, counted};
use crate::shared::unseen::seen_text;
use disclosure::public_row::PublicRow;
use scouting::failure::Failure;
use store::alerts::issued_alert::IssuedAlert;
use store::alerts::table::AlertBook;

/// What an alert would make public.
pub(crate) struct Preview {
    protocol: String,
    headline: String,
    counties_shown: usize,
    counties_withheld: usize,
    rows_made_public: usize,
    /// What it would replace: `an update of alert 3`, and the places of which it says something else.
    replaces: Option<(String, Vec<PlaceChange>)>,
    rows: Vec<PublicRow>,
}

impl Preview {
    /// The preview of an alert that was just made of these figures.
    pub(super) fn of(figures: &Figures, made: Made) -> Result<Preview, Failure> {
        let words = CountWords::of(protocol_of(figures, &made.subject.protocol)?);
        let summary = Summary::of(&figures.region, &made.rows, words);
        let replaces = made.subject.replaces.as_ref().map(|replaced| {
            (
                format!("{} of alert {}", replaced.change.a_word(), replaced.number),
                changes(&figures.region, &replaced.rows, &made.rows, words),
            )
        });
        Ok(Preview {
            headline: made.built.headline.clone(),
            counties_shown: summary.shown.len(),
            counties_withheld: figures.counties_withheld(),
            rows_made_public: figures.entering.len(),
            replaces,
            protocol: made.subject.protocol,
            rows: made.rows,
        })
    }

    /// Its rows.
    pub(super) fn rows(&self) -> &[PublicRow] {
        &self.rows
    }

    pub(super) fn rows_made_public(&self) -> usize {
        self.rows_made_public
    }

    /// For people.
    pub(super) fn text(&self) -> String {
        let county = |count: usize| counted(count as u64, "county", "counties");
        let mut said = format!(
            "  {}: {}\n    {} shown, {} withheld; {} made public",
            self.protocol,
            seen_text(&self.headline),
            county(self.counties_shown),
            county(self.counties_withheld),
            counted(self.rows_made_public as u64, "row", "rows")
        );
        if let Some((what, changes)) = &self.replaces {
            said += &format!("\n    {what}; {}", places_in_words(changes.len()));
            for change in changes.iter().take(LISTED_MAX) {
                said += &format!("\n      {}: {}", change.place, change.words);
            }
            if let Some(more) = changes
                .len()
                .checked_sub(LISTED_MAX)
                .filter(|more| *more > 0)
            {
                said += &format!("\n      … and {more} more");
            }
        }
        said
    }
}

fn places_in_words(places: usize) -> String {
    match places {
        0 => "it says the same of every place".to_owned(),
        some => format!(
            "it says something else of {}",
            counted(some as u64, "place", "places")
        ),
    }
}

/// An alert of the week that is issued already, and so is not issued again.
pub(crate) struct Already {
    protocol: String,
    number: i64,
    /// Places of which an update would say something else.
    changed: usize,
}

impl Already {
    /// For people.
    pub(super) fn text(&self) -> String {
        let Already {
            protocol, number, ..
        } = self;
        let start = format!("  not again: {protocol}, issued as alert {number}");
        match self.changed {
            0 => start,
            some => format!(
                "{start}; an update would say something else of {}: bractline alert --reissue {number}",
                counted(some as u64, "place", "places")
            ),
        }
    }
}

/// Compares an issued alert with what an update of it would say.
///
/// # Errors
/// A [`Failure`] if its protocol is not in the catalog any more, or its rows cannot be made.
pub(super) async fn already<'a>(
    mut desk: Desk<'a>,
    book: &AlertBook,
    alert: IssuedAlert,
) -> Result<(Desk<'a>, Already), Failure> {
    let published = book.published();
    let before = shown_rows(&published, &alert.iso_week, &alert.protocol);
    let week = week_of(&alert)?;
    let publishing = publishing(week, &alert.protocol);
    desk.figures = desk.figures.publishing(&published, &publishing).await?;
    let now = desk.figures.rows_under(week, &alert.protocol);
    let words = CountWords::of(protocol_of(&desk.figures, &alert.protocol)?);
    let changed = changes(&desk.figures.region, &before, &now, words).len();
    let found = Already {
        protocol: alert.protocol,
        number: alert.number,
        changed,
    };
    Ok((desk, found))
}
