//! The chart of the season: the share of fields at threshold, week by week, with that of earlier seasons.
//!
//! Where only the least and the most fields at threshold are public, the line runs through the middle, and a thin
//! upright line reaches from the least to the most.

use std::collections::BTreeMap;
use std::fmt::Write;

use crate::seasons::season_so_far::{RegionWeek, SeasonSoFar};
use crate::shared::chart::{Anchor, Chart, FAINT, chart, number_of, short, text};
use crate::shared::count_words::CountWords;
use crate::shared::shown_numbers::{Form, display_number, join_with_and};

const HEIGHT: f64 = 202.0;
const LEFT: f64 = 54.0;
const RIGHT: f64 = 346.0;
const TOP: f64 = 14.0;
const BOTTOM: f64 = 166.0;
/// Ends of the axis of shares; the first that holds every share drawn is taken.
const AXIS_ENDS: [f64; 6] = [0.1, 0.2, 0.4, 0.6, 0.8, 1.0];
/// More weeks than this have no room for a label each.
const LABELS_MAX: i64 = 7;
/// Colors of this season, and of the earlier ones: the dark and the middle of the map's scale.
const THIS: &str = "#00224e";
const EARLIER: &str = "#777363";
const BAND: &str = "#e4dfc8";

/// A chart and what its lines mean.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct SeasonCurve {
    /// The chart.
    pub chart: Chart,
    /// A swatch and its words for each kind of line.
    pub key: Vec<(String, String)>,
}

/// Draws it; `None` where no week of this season has fields to draw.
pub(crate) fn draw_season_curve(so_far: &SeasonSoFar, words: CountWords) -> Option<SeasonCurve> {
    let newest = so_far.weeks.last()?;
    let earlier = Spread::of(&so_far.earlier);
    let season = newest.season;
    // A range is drawn in this season alone.
    let highest_drawn = |week: &RegionWeek| match week.season == season {
        true => share_ends(week)[1],
        false => week.share_at_threshold,
    };
    let weeks = || so_far.weeks.iter().chain(&so_far.earlier);
    let numbers = || weeks().filter_map(|week| number_of(&week.iso_week));
    let axes = Axes {
        first: numbers().min()?,
        last: numbers().max()?,
        end: axis_end(weeks().map(highest_drawn)),
    };
    let mut inner = String::new();
    axes.draw(&mut inner);
    earlier.draw(&axes, &mut inner);
    draw_this(&so_far.weeks, &axes, &mut inner);
    let title = format!(
        "Share of visited {} {} by week, {season}",
        words.several(),
        words.at()
    );
    Some(SeasonCurve {
        chart: chart(
            "season",
            HEIGHT,
            &title,
            &words.said(&described(season, &so_far.weeks, &earlier)),
            &inner,
        ),
        key: key(season, so_far.weeks.iter().any(is_range), &earlier),
    })
}

/// Whether only the least and the most fields at threshold are public.
fn is_range(week: &RegionWeek) -> bool {
    week.at_threshold[0] != week.at_threshold[1]
}

/// Least and most share at threshold, 0 to 1.
fn share_ends(week: &RegionWeek) -> [f64; 2] {
    match is_range(week) {
        true => week
            .at_threshold
            .map(|fields| fields as f64 / week.fields_visited as f64),
        false => [week.share_at_threshold; 2],
    }
}

/// What earlier seasons had in each week of the year: lowest, middle and highest share.
struct Spread {
    seasons: Vec<String>,
    weeks: BTreeMap<i64, [f64; 3]>,
}

impl Spread {
    fn of(weeks: &[RegionWeek]) -> Spread {
        let mut seasons: Vec<i64> = weeks.iter().map(|week| week.season).collect();
        seasons.dedup();
        let mut shares: BTreeMap<i64, Vec<f64>> = BTreeMap::new();
        for week in weeks {
            if let Some(number) = number_of(&week.iso_week) {
                shares
                    .entry(number)
                    .or_default()
                    .push(week.share_at_threshold);
            }
        }
        let ends_and_middle = |mut shares: Vec<f64>| {
            shares.sort_by(f64::total_cmp);
            let last = shares.len() - 1;
            let middle = (shares[last / 2] + shares[last.div_ceil(2)]) / 2.0;
            [shares[0], middle, shares[last]]
        };
        Spread {
            seasons: seasons.iter().map(i64::to_string).collect(),
            weeks: shares
                .into_iter()
                .map(|(number, shares)| (number, ends_and_middle(shares)))
                .collect(),
        }
    }

    /// Runs of weeks without a gap: over a gap nothing is known, and nothing is drawn.
    fn runs(&self) -> Vec<Vec<(i64, [f64; 3])>> {
        let weeks: Vec<_> = self
            .weeks
            .iter()
            .map(|(week, shares)| (*week, *shares))
            .collect();
        weeks
            .chunk_by(|one, next| next.0 == one.0 + 1)
            .map(<[_]>::to_vec)
            .collect()
    }

    fn draw(&self, axes: &Axes, inner: &mut String) {
        for run in self.runs() {
            if self.seasons.len() > 1 {
                let line = |end: usize| run.iter().map(move |(week, s)| axes.at(*week, s[end]));
                let band: Vec<[f64; 2]> = line(2).chain(line(0).rev()).collect();
                let _ = write!(
                    inner,
                    r#"<path d="{}Z" fill="{BAND}" stroke="{EARLIER}" stroke-width=".7"/>"#,
                    path(&band)
                );
            }
            let middle: Vec<[f64; 2]> = run
                .iter()
                .map(|(week, shares)| axes.at(*week, shares[1]))
                .collect();
            let _ = write!(
                inner,
                r#"<path d="{}" fill="none" stroke="{EARLIER}" stroke-width="2" stroke-dasharray="6 4"/>"#,
                path(&middle)
            );
        }
    }
}

fn draw_this(weeks: &[RegionWeek], axes: &Axes, inner: &mut String) {
    let points: Vec<(i64, [f64; 2])> = weeks
        .iter()
        .filter_map(|week| {
            let number = number_of(&week.iso_week)?;
            Some((number, axes.at(number, week.share_at_threshold)))
        })
        .collect();
    for run in points.chunk_by(|one, next| next.0 == one.0 + 1) {
        let run: Vec<[f64; 2]> = run.iter().map(|(_, at)| *at).collect();
        let _ = write!(
            inner,
            r#"<path d="{}" fill="none" stroke="{THIS}" stroke-width="3" stroke-linejoin="round"/>"#,
            path(&run)
        );
    }
    for week in weeks.iter().filter(|week| is_range(week)) {
        let Some(number) = number_of(&week.iso_week) else {
            continue;
        };
        let [[x, least], [_, most]] = share_ends(week).map(|share| axes.at(number, share));
        let _ = write!(
            inner,
            r#"<path d="M{} {}V{}" stroke="{THIS}" stroke-width="1.5"/>"#,
            short(x),
            short(least),
            short(most)
        );
    }
    for (_, [x, y]) in &points {
        let (x, y) = (short(*x), short(*y));
        let _ = write!(
            inner,
            r##"<circle cx="{x}" cy="{y}" r="4" fill="{THIS}" stroke="#fff"/>"##
        );
    }
}

struct Axes {
    first: i64,
    last: i64,
    end: f64,
}

impl Axes {
    fn at(&self, week: i64, share: f64) -> [f64; 2] {
        // A lone week is in the middle.
        let along = match self.last - self.first {
            0 => 0.5,
            weeks => (week - self.first) as f64 / weeks as f64,
        };
        [
            LEFT + 8.0 + along * (RIGHT - LEFT - 16.0),
            BOTTOM - share / self.end * (BOTTOM - TOP),
        ]
    }

    fn draw(&self, inner: &mut String) {
        for part in [0.0, 0.5, 1.0] {
            let share = part * self.end;
            let y = short(self.at(self.first, share)[1]);
            let _ = write!(inner, r#"<path d="M{LEFT} {y}H{RIGHT}" stroke="{FAINT}"/>"#);
            let said = format!("{}%", display_number(share, Form::Percent));
            text(inner, [LEFT - 6.0, y + 4.0], Anchor::End, "", &said);
        }
        let step = (self.last - self.first) / LABELS_MAX + 1;
        let mut week = self.first;
        while week <= self.last {
            let x = self.at(week, 0.0)[0];
            text(
                inner,
                [x, BOTTOM + 26.0],
                Anchor::Middle,
                "",
                &format!("W{week}"),
            );
            week += step;
        }
    }
}

fn axis_end(shares: impl Iterator<Item = f64>) -> f64 {
    let highest = shares.fold(0.0, f64::max);
    let holds = |end: &f64| *end >= highest;
    AXIS_ENDS.into_iter().find(holds).unwrap_or(1.0)
}

fn path(points: &[[f64; 2]]) -> String {
    let points: Vec<String> = points
        .iter()
        .map(|[x, y]| format!("{} {}", short(*x), short(*y)))
        .collect();
    // A lone point has no length, and is drawn as the dot that a round end makes of it.
    format!("M{}", points.join("L"))
}

fn described(season: i64, weeks: &[RegionWeek], earlier: &Spread) -> String {
    let percent = |share: f64| display_number(share, Form::Percent);
    let this: Vec<String> = weeks
        .iter()
        .filter_map(|week| {
            let number = number_of(&week.iso_week)?;
            let [least, most] = share_ends(week).map(percent);
            let share = match is_range(week) {
                true => format!("{least} to {most}"),
                false => least,
            };
            Some(format!("week {number} {share}% of {}", week.fields_visited))
        })
        .collect();
    let ends = match weeks.iter().any(is_range) {
        true => ", least to most where a number is not public",
        false => "",
    };
    let this = format!(
        "{season}, share of the fields visited{ends}: {}.",
        this.join(", ")
    );
    let Some(seasons) = join_with_and(&earlier.seasons) else {
        return format!("{this} There is no earlier season to compare with.");
    };
    let spread: Vec<String> = earlier
        .weeks
        .iter()
        .map(|(number, [low, _, high])| match low == high {
            true => format!("week {number} {}%", percent(*low)),
            false => format!("week {number} {} to {}%", percent(*low), percent(*high)),
        })
        .collect();
    format!("{this} {seasons}: {}.", spread.join(", "))
}

fn key(season: i64, has_ranges: bool, earlier: &Spread) -> Vec<(String, String)> {
    let swatch = |inner: &str| {
        format!(r#"<svg class="swatch" viewBox="0 0 32 20" aria-hidden="true">{inner}</svg>"#)
    };
    let dashed = format!(
        r#"<path d="M1 10H31" stroke="{EARLIER}" stroke-width="2" stroke-dasharray="6 4"/>"#
    );
    let mut key = vec![(
        swatch(&format!(
            r#"<path d="M1 10H31" stroke="{THIS}" stroke-width="3"/><circle cx="16" cy="10" r="4" fill="{THIS}"/>"#
        )),
        match has_ranges {
            true => format!("{season}: the middle, thin line least to most"),
            false => season.to_string(),
        },
    )];
    match &*earlier.seasons {
        [] => {}
        [one] => key.push((swatch(&dashed), one.clone())),
        several => {
            let band = format!(
                r#"<path d="M1 3H31V17H1Z" fill="{BAND}" stroke="{EARLIER}" stroke-width=".7"/>{dashed}"#
            );
            let seasons = join_with_and(several).unwrap_or_default();
            let words = format!("{seasons}: lowest to highest, dashed their middle");
            key.push((swatch(&band), words));
        }
    }
    key
}

#[cfg(test)]
mod tests {
    use super::*;

    fn week(season: i64, number: i64, share: f64) -> RegionWeek {
        RegionWeek {
            season,
            iso_week: format!("{season}-W{number:02}"),
            fields_visited: 20,
            at_threshold: [(share * 20.0) as i64; 2],
            share_at_threshold: share,
        }
    }

    #[test]
    fn earlier_seasons_are_a_band_from_lowest_to_highest_with_gaps_left_open() {
        let so_far = SeasonSoFar {
            weeks: vec![week(2026, 28, 0.05), week(2026, 29, 0.25)],
            earlier: vec![
                week(2024, 28, 0.1),
                week(2024, 29, 0.3),
                week(2024, 31, 0.35),
                week(2025, 28, 0.2),
                week(2025, 29, 0.1),
            ],
            ..SeasonSoFar::default()
        };
        let curve = draw_season_curve(&so_far, CountWords::Threshold).expect("weeks");
        let svg = &curve.chart.svg;
        assert!(svg.contains("week 28 5% of 20, week 29 25% of 20"), "{svg}");
        assert!(
            svg.contains("2024 and 2025: week 28 10 to 20%, week 29 10 to 30%, week 31 35%"),
            "{svg}"
        );
        assert_eq!(
            svg.matches(BAND).count(),
            2,
            "a band before the gap and one after"
        );
        assert_eq!(svg.matches("<circle").count(), 2);
        // The axis ends at 40%, so 35% is at seven eighths of its height.
        assert!(svg.contains(">40%<") && svg.contains(">W31<"), "{svg}");
        assert_eq!(curve.key.len(), 2);
    }

    #[test]
    fn a_week_of_which_only_the_ends_are_public_is_drawn_from_least_to_most() {
        let range = RegionWeek {
            at_threshold: [2, 10],
            ..week(2026, 29, 0.3)
        };
        let so_far = SeasonSoFar {
            weeks: vec![week(2026, 28, 0.05), range],
            ..SeasonSoFar::default()
        };
        let curve = draw_season_curve(&so_far, CountWords::Threshold).expect("weeks");
        let svg = &curve.chart.svg;
        assert!(
            svg.contains("least to most where a number is not public: week 28 5% of 20, week 29 10 to 50% of 20."),
            "{svg}"
        );
        // The axis holds the most, 50%: it ends at 60%. The line reaches from 10 to 50% of its 152 units.
        assert!(svg.contains(">60%<"), "{svg}");
        assert!(svg.contains(r#"d="M338 140.7V39.3""#), "{svg}");
        assert_eq!(svg.matches(r#"stroke-width="1.5""#).count(), 1);
        assert!(curve.key[0].1.contains("least to most"), "{:?}", curve.key);
    }

    #[test]
    fn one_earlier_season_is_a_line_and_none_is_said() {
        let mut so_far = SeasonSoFar {
            weeks: vec![week(2026, 28, 0.0)],
            earlier: vec![week(2025, 28, 0.2)],
            ..SeasonSoFar::default()
        };
        let curve = draw_season_curve(&so_far, CountWords::Threshold).expect("a week");
        assert!(!curve.chart.svg.contains(BAND) && curve.chart.svg.contains("dasharray"));
        so_far.earlier.clear();
        let curve = draw_season_curve(&so_far, CountWords::Threshold).expect("a week");
        assert!(curve.chart.svg.contains("no earlier season"));
        assert_eq!(curve.key.len(), 1);
        so_far.weeks.clear();
        assert_eq!(draw_season_curve(&so_far, CountWords::Threshold), None);
    }
}
