//! How the records of each sender and of each scout fared in a season: held, flagged, late. Private.

use std::collections::BTreeMap;

use serde::Serialize;

use super::list::named;
use crate::shared::report::grouped;
use crate::shared::table_files::table_csv;
use intake::mapping::marked;
use intake::sheet::table::Cell;
use jiff::tz::Offset;
use scouting::failure::Failure;
use store::ledger::held::Sender;
use store::ledger::reports::{ReportedVisit, Reports};

/// The figures of a sender or a scout.
#[derive(Debug, Default, Serialize)]
pub(crate) struct Figures {
    /// Visits, a revision each.
    pub(crate) accepted: usize,
    /// Records that were held.
    pub(crate) held: usize,
    /// `held / (accepted + held)`.
    pub(crate) held_share: f64,
    /// Accepted revisions with a flag.
    pub(crate) flagged: usize,
    /// Median of the days from the visit to its handing in, over first revisions; `None` without a visit.
    pub(crate) median_days_late: Option<f64>,
    #[serde(skip)]
    days_late: Vec<i32>,
}

/// The figures of a season.
#[derive(Debug, Serialize)]
pub(crate) struct SenderStats {
    season: i32,
    /// By sender.
    senders: BTreeMap<String, Figures>,
    /// By scout.
    scouts: BTreeMap<String, Figures>,
}

impl SenderStats {
    /// The figures of a season. A held record has no week that is sure, so it is counted in the year in which it was
    /// received.
    pub(crate) fn of(reports: &Reports, season: i32) -> SenderStats {
        let mut stats = SenderStats {
            season,
            senders: BTreeMap::new(),
            scouts: BTreeMap::new(),
        };
        for visit in reports
            .visits
            .iter()
            .filter(|visit| visit.week.season() == season)
        {
            stats
                .senders
                .entry(named(&visit.sender))
                .or_default()
                .accepted(visit);
            let scout = named(&Sender::Observer(visit.observer_id.clone()));
            stats.scouts.entry(scout).or_default().accepted(visit);
        }
        for (sender, scout, days) in first_days(reports, season) {
            for figures in [stats.senders.get_mut(&sender), stats.scouts.get_mut(&scout)] {
                figures
                    .into_iter()
                    .for_each(|figures| figures.days_late.push(days));
            }
        }
        let of_season = |received: jiff::Timestamp| {
            i32::from(Offset::UTC.to_datetime(received).year()) == season
        };
        for held in reports
            .held
            .iter()
            .filter(|held| of_season(held.received_at))
        {
            stats.senders.entry(named(&held.sender)).or_default().held += 1;
            if let Some(scout) = &held.observer_id {
                let scout = named(&Sender::Observer(scout.clone()));
                stats.scouts.entry(scout).or_default().held += 1;
            }
        }
        let all = stats.senders.values_mut().chain(stats.scouts.values_mut());
        all.for_each(Figures::finish);
        stats
    }

    /// The figures for people.
    pub(crate) fn text(&self) -> String {
        let mut lines = vec![format!("season {} (private)", self.season)];
        for (heading, figures) in [("senders", &self.senders), ("scouts", &self.scouts)] {
            lines.push(format!("{heading}:"));
            lines.extend(figures.iter().map(|(name, figures)| figures.line(name)));
        }
        lines.join("\n")
    }

    /// The figures as a table of text with commas.
    ///
    /// # Errors
    /// If it cannot be written.
    pub(crate) fn csv(&self) -> Result<Vec<u8>, Failure> {
        let header = [
            "by",
            "name",
            "accepted",
            "held",
            "held_share",
            "flagged",
            "median_days_late",
        ]
        .map(str::to_owned);
        let senders = self
            .senders
            .iter()
            .map(|(name, figures)| figures.cells("sender", name));
        let scouts = self
            .scouts
            .iter()
            .map(|(name, figures)| figures.cells("scout", name));
        let rows: Vec<Vec<Cell>> = senders.chain(scouts).collect();
        table_csv(&header, rows.iter().map(Vec::as_slice))
    }
}

/// Sender, scout and days late of the first revision of each visit.
fn first_days(reports: &Reports, season: i32) -> Vec<(String, String, i32)> {
    let mut first: BTreeMap<&str, &ReportedVisit> = BTreeMap::new();
    for visit in reports
        .visits
        .iter()
        .filter(|visit| visit.week.season() == season)
    {
        let known = first.entry(&visit.visit_id).or_insert(visit);
        if visit.submitted_at < known.submitted_at {
            *known = visit;
        }
    }
    let days = first.into_values().map(|visit| {
        let handed_in = Offset::UTC.to_datetime(visit.submitted_at).date();
        let days = (handed_in - visit.observed_on).get_days();
        let scout = named(&Sender::Observer(visit.observer_id.clone()));
        // In a time zone of the east the day of the visit may be a day ahead.
        (named(&visit.sender), scout, days.max(0))
    });
    days.collect()
}

impl Figures {
    fn accepted(&mut self, visit: &ReportedVisit) {
        self.accepted += 1;
        self.flagged += usize::from(visit.flagged);
    }

    fn finish(&mut self) {
        let all = self.accepted + self.held;
        self.held_share = match all {
            0 => 0.0,
            all => self.held as f64 / all as f64,
        };
        self.days_late.sort_unstable();
        self.median_days_late = median(&self.days_late);
    }

    fn line(&self, name: &str) -> String {
        let late = match self.median_days_late {
            Some(days) => format!("median {days} days from visit to hand-in"),
            None => "no visit accepted".to_owned(),
        };
        format!(
            "  {name}: {} accepted, {} held ({:.0}%), {} flagged, {late}",
            grouped(self.accepted as u64),
            grouped(self.held as u64),
            self.held_share * 100.0,
            grouped(self.flagged as u64),
        )
    }

    fn cells(&self, by: &str, name: &str) -> Vec<Cell> {
        vec![
            Cell::Text(by.to_owned()),
            Cell::Text(marked(name)),
            Cell::Number(self.accepted as f64),
            Cell::Number(self.held as f64),
            Cell::Number(self.held_share),
            Cell::Number(self.flagged as f64),
            self.median_days_late.map_or(Cell::Empty, Cell::Number),
        ]
    }
}

/// The median of sorted numbers; of an even count the mean of the two in the middle.
fn median(sorted: &[i32]) -> Option<f64> {
    let middle = sorted.len() / 2;
    let upper = f64::from(*sorted.get(middle)?);
    if sorted.len() % 2 == 1 {
        return Some(upper);
    }
    Some(f64::midpoint(f64::from(sorted[middle - 1]), upper))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_median_is_in_the_middle() {
        assert_eq!(median(&[]), None);
        assert_eq!(median(&[3]), Some(3.0));
        assert_eq!(median(&[1, 2]), Some(1.5));
        assert_eq!(median(&[0, 1, 9]), Some(1.0));
    }
}
