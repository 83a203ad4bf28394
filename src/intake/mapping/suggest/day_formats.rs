//! In which format days are written, as the cells of a column show it.

use jiff::civil::Date;
use jiff::fmt::strtime::BrokenDownTime;

use crate::mapping::names::trimmed;
use crate::mapping::values::dates::ISO;
use crate::mapping::values::day_shapes::iso_day;
use crate::sheet::table::Cell;

/// Formats that are tried; a list of common practice. Names of months are English.
const FORMATS: [&str; 20] = [
    ISO,
    "%m/%d/%Y",
    "%d/%m/%Y",
    "%m/%d/%y",
    "%d/%m/%y",
    "%d.%m.%Y",
    "%d.%m.%y",
    "%m.%d.%Y",
    "%m-%d-%Y",
    "%d-%m-%Y",
    "%m-%d-%y",
    "%d-%m-%y",
    "%Y/%m/%d",
    "%Y%m%d",
    "%d %b %Y",
    "%d-%b-%Y",
    "%d-%b-%y",
    "%b %d, %Y",
    "%d %B %Y",
    "%B %d, %Y",
];
/// Years in which a visit can be.
const YEARS: std::ops::RangeInclusive<i16> = 2000..=2099;

/// What the cells of a column show.
#[derive(Debug, PartialEq)]
pub(super) enum Days {
    /// No text among them needs a format.
    NoFormat,
    /// One format reads every day.
    Format(&'static str),
    /// Several formats read every day, and not every one that may come as the same; a cell that shows it.
    Several(Vec<&'static str>, String),
    /// No format reads them; a cell that shows it.
    Unknown(String),
    /// Serial numbers of a spreadsheet.
    Numbers,
}

/// The format of the days in cells. `hint` is what the header says in brackets, as `dd/mm/yyyy`.
pub(super) fn day_format<'a>(cells: impl Iterator<Item = &'a Cell>, hint: &str) -> Days {
    let mut texts: Vec<String> = Vec::new();
    let mut has_numbers = false;
    for cell in cells {
        match cell {
            Cell::Text(text) => texts.push(trimmed(text)),
            Cell::Number(_) => has_numbers = true,
            _ => {}
        }
    }
    texts.sort_unstable();
    texts.dedup();
    let with_day: Vec<&String> = texts
        .iter()
        .filter(|text| FORMATS.iter().any(|format| day(format, text).is_some()))
        .collect();
    match (with_day.first(), texts.first()) {
        (None, _) if has_numbers => return Days::Numbers,
        (None, None) => return Days::NoFormat,
        (None, Some(text)) => return Days::Unknown(text.clone()),
        _ => {}
    }
    let reads_all =
        |format: &&&'static str| with_day.iter().all(|text| day(format, text).is_some());
    let mut formats: Vec<&'static str> = FORMATS.iter().filter(reads_all).copied().collect();
    if let Some(order) = hinted(hint).filter(|_| formats.len() > 1) {
        formats.retain(|format| is_day_first(format) == order);
    }
    let Some(first) = formats.first().copied() else {
        return Days::Unknown(
            with_day
                .first()
                .map_or_else(String::new, |text| (*text).clone()),
        );
    };
    // 7/7/2026 is one day either way; the next week's 8/7/2026 is not.
    let begins = |with: &str| formats.iter().any(|format| format.starts_with(with));
    let differs = |text: &&&String| {
        let days = || formats.iter().map(|format| day(format, text));
        begins("%m") && begins("%d") || days().any(|other| other != day(first, text))
    };
    match with_day.iter().find(differs) {
        Some(text) => Days::Several(formats.clone(), (**text).clone()),
        None if first == ISO => Days::NoFormat,
        None => Days::Format(first),
    }
}

/// The day of a text by a format, if it is one of a visit.
fn day(format: &str, text: &str) -> Option<Date> {
    let day = match format {
        ISO => iso_day(text),
        _ => BrokenDownTime::parse(format, text)
            .and_then(|parsed| parsed.to_date())
            .ok(),
    };
    day.filter(|day| YEARS.contains(&day.year()))
}

/// Whether the header says that the day comes first; `None` if it says nothing of that.
fn hinted(hint: &str) -> Option<bool> {
    let letters = hint.to_lowercase().replace(' ', "");
    match letters.as_str() {
        "mm/dd/yyyy" | "m/d/y" | "mm/dd/yy" | "m/d/yyyy" | "m/d" | "mm-dd-yyyy" | "mdy" => {
            Some(false)
        }
        "dd/mm/yyyy" | "d/m/y" | "dd/mm/yy" | "d/m/yyyy" | "d/m" | "dd-mm-yyyy" | "dmy"
        | "jj/mm/aaaa" | "dd/mm/aaaa" | "jj/mm/aa" => Some(true),
        _ => None,
    }
}

fn is_day_first(format: &str) -> bool {
    format.starts_with("%d")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_show_the_format_of_days() {
        let cases: [(&[&str], &str, Days); 13] = [
            (&["2026-07-20", "2026-07-21"], "", Days::NoFormat),
            (&[], "", Days::NoFormat),
            (&["7/20/2026", "8/3/2026"], "", Days::Format("%m/%d/%Y")),
            (&["20/07/2026", "03/08/2026"], "", Days::Format("%d/%m/%Y")),
            (&["20.07.26"], "", Days::Format("%d.%m.%y")),
            (
                &["7/7/2026"],
                "",
                Days::Several(vec!["%m/%d/%Y", "%d/%m/%Y"], "7/7/2026".to_owned()),
            ),
            (&["20-Jul-26", "3-Aug-26"], "", Days::Format("%d-%b-%y")),
            (&["Jul 20, 2026"], "", Days::Format("%b %d, %Y")),
            (&["July 20, 2026"], "", Days::Format("%B %d, %Y")),
            (&["7/20/2026", "week 30"], "", Days::Format("%m/%d/%Y")),
            (&["6/7/2026"], "mm/dd/yyyy", Days::Format("%m/%d/%Y")),
            (
                &["6/7/2026", "8/7/2026"],
                "",
                Days::Several(vec!["%m/%d/%Y", "%d/%m/%Y"], "6/7/2026".to_owned()),
            ),
            (
                &["20 juillet 2026"],
                "",
                Days::Unknown("20 juillet 2026".to_owned()),
            ),
        ];
        for (texts, hint, wanted) in cases {
            let cells: Vec<Cell> = texts
                .iter()
                .map(|text| Cell::Text((*text).to_owned()))
                .collect();
            assert_eq!(day_format(cells.iter(), hint), wanted, "{texts:?}");
        }
        assert_eq!(
            day_format([Cell::Number(46_224.0)].iter(), ""),
            Days::Numbers
        );
    }
}
