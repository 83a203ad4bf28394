//! How many fields are undetermined, how often the others are called wrongly, and whether a probability is one.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use stats::sampling::clumped_mean::ClumpedMean;
use stats::sampling::season_means::SeasonMeans;

use super::SEED;
use super::invented_fields::{Field, ORDINARY, SCATTERS, Scatter};
use super::simulated_ranges::{clumping_of, student_of_logarithm};

/// Seasons of 70 fields each.
const SEASONS: u32 = 200;

/// A field as each rule sees it.
struct Seen {
    at_threshold: bool,
    /// Whether the first edition's 95% range held the threshold, and whether the mean was above it.
    before: Option<(bool, bool)>,
    confidence: f64,
    probability: f64,
}

fn seen(scatter: Scatter, stream: u64) -> Vec<Seen> {
    let mut chance = ChaCha8Rng::seed_from_u64(SEED);
    chance.set_stream(stream);
    let mut all = Vec::new();
    for _ in 0..SEASONS {
        let fields = ORDINARY.season(scatter, &mut chance);
        let clumping = clumping_of(&fields);
        let means = SeasonMeans::of(fields.iter().map(Field::counts), clumping);
        let means = means.expect("70 fields, with something found");
        all.extend(fields.iter().map(|field| {
            let counts = field.counts();
            let of = ClumpedMean::new(&counts, &clumping).expect("a sample");
            let before = student_of_logarithm(&counts, 0.95).map(|(low, high)| {
                let held = low <= field.threshold && field.threshold <= high;
                (held, counts.mean >= field.threshold)
            });
            Seen {
                at_threshold: field.at_threshold(),
                before,
                confidence: of.confidence_at_or_above(field.threshold).expect("above 0"),
                probability: means
                    .probability_at_or_above(&counts, field.threshold)
                    .expect("above 0"),
            }
        }));
    }
    all
}

/// What a rule does with the fields.
struct Done {
    undetermined: f64,
    wrong_of_called: f64,
    missed: f64,
}

/// `call` is whether a field is called at its threshold; `None` where it is undetermined.
fn done(fields: &[Seen], call: impl Fn(&Seen) -> Option<bool>) -> Done {
    let calls = fields.iter().map(|field| (field.at_threshold, call(field)));
    let called: Vec<(bool, bool)> = calls
        .filter_map(|(truth, called)| Some((truth, called?)))
        .collect();
    let share = |part: usize, whole: usize| 100.0 * part as f64 / whole.max(1) as f64;
    let wrong = called.iter().filter(|(truth, call)| truth != call).count();
    let missed = called
        .iter()
        .filter(|(truth, call)| *truth && !call)
        .count();
    let at_threshold = fields.iter().filter(|field| field.at_threshold).count();
    Done {
        undetermined: share(fields.len() - called.len(), fields.len()),
        wrong_of_called: share(wrong, called.len()),
        missed: share(missed, at_threshold),
    }
}

/// A call that is made from this certainty on.
fn sure(chance: f64, certainty: f64) -> Option<bool> {
    match chance {
        chance if chance > certainty => Some(true),
        chance if chance < 1.0 - certainty => Some(false),
        _ => None,
    }
}

/// Rules compared, and what a probability is worth.
pub fn calls() {
    println!(
        "\n## Calls\n\n{SEASONS} seasons of {} fields. *Wrong*: of the fields that are called. *Missed*: of the fields truly at \
         their threshold, those called below it. *Before*: the threshold is within the 95% range by Student's t of the \
         logarithm.\n",
        ORDINARY.fields
    );
    println!("| scatter | rule | undetermined % | wrong % | missed % |\n|---|---|--:|--:|--:|");
    let scatters: Vec<(Scatter, Vec<Seen>)> = (100..)
        .zip(SCATTERS)
        .map(|(stream, scatter)| (scatter, seen(scatter, stream)))
        .collect();
    for (scatter, fields) in &scatters {
        let rules = [
            (
                "before",
                done(fields, |field| {
                    let (held, above) = field.before?;
                    (!held).then_some(above)
                }),
            ),
            (
                "confidence below 2.5% or above 97.5%",
                done(fields, |field| sure(field.confidence, 0.975)),
            ),
            (
                "confidence below 10% or above 90%",
                done(fields, |field| sure(field.confidence, 0.9)),
            ),
            (
                "**probability below 10% or above 90%**",
                done(fields, |field| sure(field.probability, 0.9)),
            ),
            (
                "probability below 5% or above 95%",
                done(fields, |field| sure(field.probability, 0.95)),
            ),
        ];
        for (name, rule) in rules {
            println!(
                "| {} | {name} | {:.1} | {:.1} | {:.1} |",
                scatter.name, rule.undetermined, rule.wrong_of_called, rule.missed
            );
        }
    }
    calibration(&scatters);
}

/// A figure of a field, by its name.
type Figure = (&'static str, fn(&Seen) -> f64);

/// What was stated, and how often it was so.
fn calibration(scatters: &[(Scatter, Vec<Seen>)]) {
    println!(
        "\nOf the fields for which a rule states so much, the share truly at their threshold (number of fields, ± two standard \
         errors):\n"
    );
    const BANDS: [(f64, f64); 5] = [(0.05, 0.2), (0.2, 0.5), (0.5, 0.6), (0.6, 0.8), (0.8, 0.95)];
    println!("| scatter | figure | mean stated | seen | fields |\n|---|---|--:|---|--:|");
    let figures: [Figure; 2] = [
        ("probability", |field| field.probability),
        ("confidence", |field| field.confidence),
    ];
    for (scatter, fields) in scatters {
        for (name, figure) in figures {
            for (low, high) in BANDS {
                let within = |field: &&Seen| (low..high).contains(&figure(field));
                let within: Vec<&Seen> = fields.iter().filter(within).collect();
                let number = within.len() as f64;
                let stated = within.iter().map(|field| figure(field)).sum::<f64>() / number;
                let true_ones = within.iter().filter(|field| field.at_threshold).count();
                let share = true_ones as f64 / number;
                let error = (share * (1.0 - share) / number).sqrt();
                println!(
                    "| {} | {name} | {stated:.2} | {share:.2} ± {:.2} | {number} |",
                    scatter.name,
                    2.0 * error
                );
            }
        }
    }
}
