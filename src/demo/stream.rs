//! Sample lines one after the other: millions of them in flat memory.
//!
//! Fields come one by one, each with all its seasons; what is sent a second time comes a while
//! later. Order by date is [`super::files`]'s job, which holds a sample in memory to sort it.

use std::collections::VecDeque;

use geo::MultiPolygon;

use super::chance::{Chance, Purpose};
use super::fields::SampleField;
use super::mess::Way;
use super::options::SampleOptions;
use super::places::Places;
use super::sample_line::SampleLine;
use super::season::Season;
use scouting::failure::Failure;

/// How many second sendings wait at a time before they come.
const WAITING_MAX: usize = 16;

/// The lines of a sample: an iterator that holds one field and the waiting second sendings.
#[derive(Debug, Clone)]
pub struct SampleLines {
    options: SampleOptions,
    places: Places,
    ways: Vec<Way>,
    seeds: Chance,
    next_field: usize,
    /// Lines ready to go.
    ready: VecDeque<SampleLine>,
    /// Second sendings; first in, first out, so that those of one visit keep their order.
    waiting: VecDeque<SampleLine>,
}

impl SampleLines {
    /// A sample of visits in any region; `shapes` are county ids and polygons (longitude and
    /// latitude, degrees). With `options.fields = usize::MAX` it never ends: take what you need.
    ///
    /// # Errors
    /// If no county has an area.
    pub fn new(
        shapes: &[(String, MultiPolygon<f64>)],
        options: &SampleOptions,
    ) -> Result<Self, Failure> {
        let seeds = Chance::new(options.seed);
        let places = Places::new(shapes, &mut seeds.stream(Purpose::Counties))?;
        let ways = options
            .seasons
            .iter()
            .map(|year| {
                let season = Season::make(*year, options, &places, &seeds);
                Way::new(season, places.bounds(), options.mess)
            })
            .collect();
        Ok(SampleLines {
            options: options.clone(),
            places,
            ways,
            seeds,
            next_field: 0,
            ready: VecDeque::new(),
            waiting: VecDeque::new(),
        })
    }

    /// Makes the next field's lines; nothing is left to do when all fields are made.
    fn make_field(&mut self) {
        let number = self.next_field;
        self.next_field += 1;
        let field = SampleField::make(number, &self.places, &self.seeds);
        for way in &mut self.ways {
            let purpose = Purpose::Visits(number, way.season().year);
            let mut chance = self.seeds.stream(purpose);
            for planned in way.season().visits(&field, &self.options, &mut chance) {
                let mut lines = way.lines(&planned, &mut chance).into_iter();
                self.ready.extend(lines.next());
                self.waiting.extend(lines);
                while self.waiting.len() > WAITING_MAX {
                    self.ready.extend(self.waiting.pop_front());
                }
            }
        }
    }
}

impl Iterator for SampleLines {
    type Item = SampleLine;

    fn next(&mut self) -> Option<SampleLine> {
        while self.ready.is_empty()
            && self.next_field < self.options.fields
            && !self.ways.is_empty()
        {
            self.make_field();
        }
        self.ready.pop_front().or_else(|| self.waiting.pop_front())
    }
}

#[cfg(test)]
mod tests {
    use std::collections::{HashMap, HashSet};

    use geo::{Contains, Point};
    use serde_json::Value;

    use super::*;
    use crate::demo::fields::point_of;
    use crate::demo::landscape::Landscape;
    use crate::demo::options::MessShares;
    use crate::demo::sample_line::{Expected, ExpectedAccount};
    use scouting::visit::code::Code;
    use scouting::visit::heads::Heads;
    use scouting::visit::record::{
        AreaUnit, MarketValue, PlantPopulation, TreatmentCost, Visit, WeightUnit,
    };

    fn sample(seed: u64, mess: MessShares, fields: usize) -> Vec<SampleLine> {
        let options = SampleOptions {
            seed,
            fields,
            mess,
            ..SampleOptions::default()
        };
        SampleLines::new(&Landscape::draw(seed).shapes(), &options)
            .expect("the fictional region has counties")
            .collect()
    }

    /// Every share high, so that few fields show everything.
    fn great_mess() -> MessShares {
        MessShares {
            late: 0.2,
            corrected: 0.2,
            retracted: 0.1,
            duplicated: 0.2,
            conflicting: 0.1,
            broken: 0.2,
            returned: 0.5,
        }
    }

    fn accepted_visits(lines: &[SampleLine]) -> Vec<Visit> {
        lines
            .iter()
            .filter(|line| line.expected == Expected::Accepted)
            .map(|line| serde_json::from_slice(&line.bytes).expect("an accepted line is a visit"))
            .collect()
    }

    #[test]
    fn the_same_seed_gives_the_same_lines_and_another_seed_others() {
        let lines = sample(1, great_mess(), 40);
        assert!(lines == sample(1, great_mess(), 40));
        assert!(lines[0].bytes != sample(2, great_mess(), 40)[0].bytes);
    }

    #[test]
    fn good_records_conform_and_survive_reading_and_writing() {
        for visit in accepted_visits(&sample(3, great_mess(), 200)) {
            assert!(visit.conforms(), "{visit:?}");
            let again: Visit = serde_json::from_slice(&crate::demo::broken::line_of(&visit))
                .expect("a visit that was written");
            assert_eq!(again, visit);
        }
    }

    /// Good records lack nothing.
    fn amounts(visit: &Visit) -> (TreatmentCost, MarketValue, PlantPopulation) {
        let economics = visit.economics.clone();
        let cost = economics.treatment_cost.expect("a cost");
        let value = economics.market_value.expect("a value");
        (cost, value, economics.plant_population.expect("a stand"))
    }

    #[test]
    fn good_records_lie_within_the_trade_s_plausible_bounds() {
        for visit in accepted_visits(&sample(4, great_mess(), 300)) {
            let per_acre = |amount: f64, per: AreaUnit| match per {
                AreaUnit::Acre => amount,
                AreaUnit::Ha => amount * 0.404_685_642_24,
            };
            let (cost, value, plants) = amounts(&visit);
            let value_per_lb = match value.per {
                WeightUnit::Lb => value.amount,
                WeightUnit::Kg => value.amount * 0.453_592_37,
            };
            assert!((5.9..12.1).contains(&per_acre(cost.amount, cost.per)));
            assert!((0.139..0.281).contains(&value_per_lb));
            assert!((15_900.0..24_100.0).contains(&per_acre(plants.count, plants.per)));
            assert!((20.0..=120.0).contains(&visit.field.area_ha));
            for site in &visit.sites {
                let heads = site.heads.as_ref().expect("heads are counted");
                assert_eq!(heads.len(), 5);
                assert!(heads.iter().all(|head| head.len() == 6));
            }
        }
    }

    #[test]
    fn good_records_are_dated_in_the_scouting_weeks_and_handed_in_afterwards() {
        for visit in accepted_visits(&sample(5, great_mess(), 300)) {
            let observed = visit.observed_on;
            let week = observed.iso_week_date();
            assert!((28..=33).contains(&week.week()), "{observed}");
            assert_eq!(week.year(), observed.year());
            assert!((6..=9).contains(&observed.month()));
            // The local day; in UTC it is the same day, because the hours are chosen so.
            let submitted = visit.submitted_at.day();
            let days = (submitted - observed).get_days();
            assert!(
                (0..=70).contains(&days),
                "{observed} {}",
                visit.submitted_at
            );
        }
    }

    #[test]
    fn fields_lie_inside_one_county_and_stay_there() {
        let landscape = Landscape::draw(6);
        let lines = sample(6, MessShares::none(), 400);
        let mut points: HashMap<String, (f64, f64)> = HashMap::new();
        let mut stated = (0, 0);
        for visit in accepted_visits(&lines) {
            let field = &visit.field;
            let known = points
                .entry(field.field_id.clone())
                .or_insert(point_of(field));
            assert_eq!(*known, point_of(field), "{}", field.field_id);
            let counties: Vec<&str> = landscape
                .counties
                .iter()
                .filter(|county| county.shape.contains(&Point::from(point_of(field))))
                .map(|county| county.county_id.as_str())
                .collect();
            assert_eq!(counties.len(), 1, "{}", field.field_id);
            if let Some(county_id) = &field.county_id {
                stated.0 += 1;
                stated.1 += usize::from(county_id != counties[0]);
            }
        }
        assert_eq!(points.len(), 400);
        // A third of the fields states its county; about one in sixteen of these is wrong.
        let visits = lines.len();
        assert!((visits / 5..visits / 2).contains(&stated.0), "{stated:?}");
        assert!((1..stated.0 / 5).contains(&stated.1), "{stated:?}");
    }

    #[test]
    fn shares_are_what_was_asked_for() {
        let mess = MessShares::benchmark();
        let options = SampleOptions {
            fields: usize::MAX,
            mess,
            ..SampleOptions::default()
        };
        let shapes = Landscape::draw(7).shapes();
        let lines = SampleLines::new(&shapes, &options).expect("counties");
        let account: ExpectedAccount = lines.take(40_000).map(|line| line.expected).collect();
        assert_eq!(account.received, 40_000);
        let share = |lines: usize| lines as f64 / account.received as f64;
        // Six standard errors of a share of 2% among 40,000 are 0.4%; few second sendings wait.
        assert!((share(account.held_in_all()) - mess.broken).abs() < 0.004);
        assert!((share(account.duplicate) - mess.duplicated).abs() < 0.004);
    }

    /// What `load` does with identity, in a few plain lines: the expectations must agree with it.
    fn follow_identity(lines: &[SampleLine]) {
        let mut taken: HashMap<(String, u32), Value> = HashMap::new();
        for line in lines {
            if let Expected::Held(code) = line.expected
                && code != Code::RevisionConflict
            {
                continue;
            }
            let value: Value = serde_json::from_slice(&line.bytes).expect("a readable line");
            let visit: Visit = serde_json::from_slice(&line.bytes).expect("a readable visit");
            let identity = (visit.visit_id, visit.revision);
            let found = match taken.get(&identity) {
                None => Expected::Accepted,
                Some(known) if *known == value => Expected::Duplicate,
                Some(_) => Expected::Held(Code::RevisionConflict),
            };
            assert_eq!(line.expected, found, "{identity:?}");
            taken.entry(identity).or_insert(value);
        }
    }

    #[test]
    fn expectations_hold_in_the_order_of_the_stream() {
        follow_identity(&sample(8, great_mess(), 200));
        follow_identity(&sample(8, MessShares::demo(), 500));
    }

    #[test]
    fn expectations_hold_in_the_order_of_arrival() {
        let mut lines = sample(9, great_mess(), 200);
        lines.sort_by_key(|line| line.arrives_on);
        follow_identity(&lines);
    }

    #[test]
    fn corrections_retractions_and_overtaken_records_occur() {
        let mut lines = sample(10, great_mess(), 200);
        lines.sort_by_key(|line| line.arrives_on);
        let visits = accepted_visits(&lines);
        let mut revisions: HashMap<&str, Vec<u32>> = HashMap::new();
        for visit in &visits {
            let seen = revisions.entry(visit.visit_id.as_str()).or_default();
            seen.push(visit.revision);
        }
        let occurs = |wanted: &[u32]| revisions.values().any(|seen| seen == wanted);
        for order in [&[1][..], &[1, 2], &[2, 1], &[1, 2, 3], &[2, 1, 3]] {
            assert!(occurs(order), "{order:?}");
        }
        assert!(visits.iter().any(|visit| visit.retracted == Some(true)));
        let spoken: HashSet<bool> = lines
            .iter()
            .filter(|line| line.expected == Expected::Duplicate)
            .map(|line| line.bytes.starts_with(b"{ "))
            .collect();
        assert_eq!(
            spoken.len(),
            2,
            "duplicates come word for word and in other words"
        );
    }

    #[test]
    fn a_believable_share_of_fields_reaches_its_threshold() {
        let mut weeks: HashMap<(i16, i8), (usize, usize)> = HashMap::new();
        let mut means = Vec::new();
        for visit in accepted_visits(&sample(2026, MessShares::none(), 600)) {
            let (cost, value, plants) = amounts(&visit);
            if cost.per == AreaUnit::Ha || !["R2", "R3"].contains(&visit.crop_stage.as_str()) {
                continue;
            }
            let eggs: u32 = visit
                .sites
                .iter()
                .flat_map(|site| site.heads.iter().flat_map(Heads::counts))
                .map(|count| count.0)
                .sum();
            let mean = f64::from(eggs) / (5 * visit.sites.len()) as f64;
            // The US form of the rule, eggs per six bracts (standard practice; no published source).
            let threshold = cost.amount / (value.amount * plants.count * 0.00078);
            let week = visit.observed_on.iso_week_date();
            let (fields, at_threshold) = weeks.entry((week.year(), week.week())).or_default();
            *fields += 1;
            *at_threshold += usize::from(mean >= threshold);
            means.push(mean);
        }
        let worst = weeks
            .values()
            .filter(|(fields, _)| *fields >= 40)
            .map(|(fields, at_threshold)| *at_threshold as f64 / *fields as f64)
            .fold(0.0, f64::max);
        assert!((0.10..0.45).contains(&worst), "{worst} of {weeks:?}");
        means.sort_by(f64::total_cmp);
        let (middle, high) = (means[means.len() / 2], means[means.len() * 95 / 100]);
        assert!((0.4..3.0).contains(&middle) && (3.0..9.0).contains(&high));
    }
}
