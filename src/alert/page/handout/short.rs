//! The alert in a text of at most 300 letters, for text messages and posts: pest, week, finding, how sure, what to do, link.

use super::super::row_words::fields_in_words;
use super::super::summary::Summary;
use super::short_letters::{in_short_letters, room_of};
use crate::alert::bulletin::Bulletin;
use crate::shared::cautions::SHORT;
use crate::shared::shown_numbers::count_of;
use scouting::failure::{Failure, Kind};

/// Room of the whole text, its line end not counted: two text messages, joined.
pub(crate) const ROOM: usize = 300;
/// The name of a pest is cut at a word beyond this, and beyond the second where there is no room otherwise.
const SUBJECT_ROOM: [usize; 2] = [60, 24];
/// The least that is said of how sure a finding is.
const PRELIMINARY: &str = "Preliminary. ";

/// The text, on one line.
///
/// # Errors
/// A [`Failure`] if the week is no ISO 8601 week.
pub(super) fn short_text(bulletin: &Bulletin) -> Result<String, Failure> {
    let ends = bulletin.weeks.last_day(bulletin.week()?);
    let words = bulletin.protocol.words();
    let summary = Summary::of(bulletin.region, bulletin.rows, words);
    let notice = bulletin.region.invented().map(|_| "INVENTED DATA. ");
    let notice = notice.unwrap_or_default();
    let title = &bulletin.protocol.title;
    let [subject, bare_subject] = SUBJECT_ROOM.map(|room| subject(title, room));
    let week = format!("week ending {}", ends.strftime("%b %-d, %Y"));
    let finding = finding(&summary);
    let fields = Summary::fields(&summary.shown) as usize;
    let fields = count_of(fields, words.one(), words.several());
    let sure = match summary.shown.is_empty() {
        true => [PRELIMINARY.to_owned(), PRELIMINARY.to_owned()],
        false => [
            format!("Preliminary: {fields}, not a random sample. "),
            format!("Preliminary: {fields}. "),
        ],
    };
    let link = bulletin
        .public_folder
        .map(|folder| format!(" {folder}alert.html"));
    let link = link.unwrap_or_default();
    let counties = counties_at_threshold(&summary);
    let with = |listed: &str, sure: &str, link: &str| {
        format!("{notice}{subject}, {week}: {finding}{listed}. {sure}{SHORT}{link}")
    };
    let bare = format!("{notice}{bare_subject}, {week}: {finding}. {PRELIMINARY}{SHORT}");
    // The fullest that has room: first fewer counties are named, then the link goes, then all that can be spared.
    let whole = (0..=counties.len())
        .rev()
        .map(|named| with(&shortened(&counties, named), &sure[0], &link))
        .chain([with("", &sure[1], &link), with("", &sure[0], ""), bare])
        .map(|text| in_short_letters(&text))
        .find(|text| room_of(text) <= ROOM);
    whole.map(|text| text + "\n").ok_or_else(|| {
        Failure::new(
            Kind::Publish,
            format!("the short text has no room in {ROOM} letters"),
        )
    })
}

/// The pest: the title of the protocol up to its first comma, whole words of it.
fn subject(title: &str, room: usize) -> String {
    let (pest, _) = title.split_once(',').unwrap_or((title, ""));
    let pest = in_short_letters(pest.trim());
    if room_of(&pest) <= room {
        return pest;
    }
    let mut kept = String::new();
    for word in pest.split(' ') {
        if room_of(&kept) + room_of(word) + 4 > room {
            break;
        }
        kept += word;
        kept.push(' ');
    }
    match kept.is_empty() {
        // One word that is longer than a message: its week and figures are what is left to say.
        true => "Pest alert".to_owned(),
        false => format!("{}...", kept.trim_end()),
    }
}

/// What was found, in one phrase, without names.
fn finding(summary: &Summary) -> String {
    let words = summary.words;
    let (one, several, at) = (words.one(), words.several(), words.at());
    let shown = summary.shown.len();
    let counties = count_of(shown, "county", "counties");
    let reported = match shown {
        1 => "in the 1 county reported".to_owned(),
        _ => format!("in the {shown} counties reported"),
    };
    match (shown, summary.at_threshold()) {
        (0, _) => match Summary::fields_at_threshold(&summary.elsewhere) {
            _ if summary.elsewhere.is_empty() && summary.other_stage > 0 => {
                format!("all {several} at another crop stage, not counted")
            }
            _ if summary.elsewhere.is_empty() => {
                format!("no county has enough {several} to report")
            }
            [_, most] => {
                let all = Summary::fields(&summary.elsewhere);
                let found = match most {
                    0 => format!("no {one} {at}"),
                    _ => format!("{several} {at}"),
                };
                format!("{found} among {all} in counties with too few to report alone")
            }
        },
        (_, 0) if summary.nothing_found() => format!("nothing found {reported}"),
        (_, 0) => format!("no {one} {at} {reported}"),
        (_, some) => format!("{several} {at} in {some} of {counties} reported"),
    }
}

/// The counties with a field at threshold and their figures, in the order of their names.
fn counties_at_threshold(summary: &Summary) -> Vec<String> {
    let mut counties: Vec<String> = summary
        .shown
        .iter()
        .filter(|county| county.row.at_threshold[0] > 0)
        .map(|county| format!("{} {}", county.name, fields_in_words(county.row)))
        .collect();
    counties.sort();
    counties
}

/// The first so many of them, and how many more there are.
fn shortened(counties: &[String], named: usize) -> String {
    let more = counties.len() - named;
    match (named, more) {
        (0, _) => String::new(),
        (_, 0) => format!(" ({})", counties.join(", ")),
        _ => format!(
            " ({} and {})",
            counties[..named].join(", "),
            count_of(more, "more county", "more counties")
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_says_how_many_it_leaves_out() {
        let counties = ["Brown 4 of 6", "Day 1 of 5", "Spink 2 of 7"].map(str::to_owned);
        assert_eq!(shortened(&counties, 0), "");
        assert_eq!(
            shortened(&counties, 1),
            " (Brown 4 of 6 and 2 more counties)"
        );
        assert_eq!(
            shortened(&counties, 2),
            " (Brown 4 of 6, Day 1 of 5 and 1 more county)"
        );
        assert_eq!(shortened(&counties[..1], 1), " (Brown 4 of 6)");
    }

    #[test]
    fn a_pest_is_cut_at_a_word_or_not_named() {
        let of = |title: &str| subject(title, 60);
        assert_eq!(
            of("Banded sunflower moth, eggs on bracts"),
            "Banded sunflower moth"
        );
        let long = of(&"weevil ".repeat(30));
        assert!(
            long.ends_with("weevil...") && room_of(&long) <= 60,
            "{long}"
        );
        assert_eq!(of(&"w".repeat(300)), "Pest alert");
    }

    /// Without counties and link the text has room whatever the week says.
    #[test]
    fn the_barest_text_has_room() {
        let longest = [
            "survey sites at the risk level in 1000 of 1000 counties reported. ",
            "survey sites at the risk level among 10000 in counties with too few to report alone. ",
            "all survey sites at another crop stage, not counted. ",
        ];
        let most = "INVENTED DATA. ".len()
            + SUBJECT_ROOM[1]
            + ", week ending Aug 29, 2026: ".len()
            + longest.map(str::len).into_iter().max().unwrap_or_default()
            + PRELIMINARY.len()
            + room_of(SHORT);
        assert!(most <= ROOM, "{most}");
    }
}
