//! How often the range of a field's mean holds the true mean, by scatter, sites and mean, and in unusual seasons.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use statrs::distribution::{ContinuousCDF, StudentsT};
use stats::sampling::clumped_mean::{ClumpedMean, MeanRange};
use stats::sampling::season_clumping::{FieldCounts, SeasonClumping};

use super::SEED;
use super::invented_fields::{Edge, Field, ORDINARY, Oddity, SCATTERS, Scatter};

/// Fields of a cell, spread over seasons that each have a clumping of their own.
const FIELDS: u32 = 2_000;
const SEASONS: u32 = 40;

pub const CONFIDENCE: f64 = 0.95;

const SITES: [u32; 8] = [1, 2, 3, 4, 6, 8, 12, 24];
const MEANS: [f64; 9] = [0.05, 0.2, 0.5, 1.0, 2.0, 3.2, 6.0, 12.0, 20.0];

const ODDITIES: [Oddity; 10] = [
    Oddity {
        name: "10 fields",
        fields: 10,
        ..ORDINARY
    },
    Oddity {
        name: "5 fields",
        fields: 5,
        ..ORDINARY
    },
    Oddity {
        name: "2 fields (no range is given)",
        fields: 2,
        ..ORDINARY
    },
    Oddity {
        name: "300 fields, k differs by sd 0.6",
        fields: 300,
        k_differs: 0.6,
        ..ORDINARY
    },
    Oddity {
        name: "40% of the sites, by chance, at an edge with three times the inside",
        edge: Edge::ByChance,
        ..ORDINARY
    },
    Oddity {
        name: "two of five sites, by design, at such an edge",
        edge: Edge::ByDesign,
        ..ORDINARY
    },
    Oddity {
        name: "the same, and each site names its zone",
        edge: Edge::ByDesignNamed,
        ..ORDINARY
    },
    Oddity {
        name: "one gross site (ten times its count and 200 more)",
        gross_site: true,
        ..ORDINARY
    },
    Oddity {
        name: "20% of the fields treated (0.07 of the mean, half of k)",
        treated: 0.2,
        ..ORDINARY
    },
    Oddity {
        name: "two to five units a site",
        uneven_units: true,
        ..ORDINARY
    },
];

/// How often a range held the true mean.
#[derive(Default, Clone, Copy)]
struct Coverage {
    fields: u32,
    too_low: u32,
    too_high: u32,
}

impl Coverage {
    fn add(&mut self, confidence_at_true_mean: f64) {
        let beyond = (1.0 - CONFIDENCE) / 2.0;
        self.fields += 1;
        self.too_low += u32::from(confidence_at_true_mean < beyond);
        self.too_high += u32::from(confidence_at_true_mean > 1.0 - beyond);
    }

    fn percent(&self) -> f64 {
        100.0 - 100.0 * f64::from(self.too_low + self.too_high) / f64::from(self.fields.max(1))
    }

    fn percent_too_low(&self) -> f64 {
        100.0 * f64::from(self.too_low) / f64::from(self.fields.max(1))
    }
}

pub fn clumping_of(fields: &[Field]) -> SeasonClumping {
    SeasonClumping::of(fields.iter().map(Field::counts))
}

/// Confidence that the mean is at its true value or above; the range covers it where this is from 2.5 to 97.5%.
fn confidence_at_truth(field: &Field, season: &SeasonClumping) -> f64 {
    let mean = ClumpedMean::new(&field.counts(), season).expect("a sample");
    let confidence = mean.confidence_at_or_above(field.true_mean);
    confidence.expect("a true mean is above 0")
}

/// The range of the program's first edition: Student's t of the logarithm of the mean, from the field's own sites; of an
/// all-zero field [0, 0], of a single site none.
pub fn student_of_logarithm(counts: &FieldCounts, confidence: f64) -> Option<(f64, f64)> {
    let sites = f64::from(counts.sites);
    let error = (counts.variance_between_sites? / sites).sqrt();
    if counts.mean == 0.0 {
        return Some((0.0, 0.0));
    }
    let student = StudentsT::new(0.0, 1.0, sites - 1.0).ok()?;
    let steps = student.inverse_cdf((1.0 + confidence) / 2.0);
    let factor = (steps * error / counts.mean).exp();
    Some((counts.mean / factor, counts.mean * factor))
}

/// Coverage of a cell: fields of one mean and number of sites in many seasons; and that of the first edition's range.
fn cell(
    oddity: &Oddity,
    scatter: Scatter,
    seasons: &[SeasonClumping],
    (sites, mean): (u32, f64),
    chance: &mut ChaCha8Rng,
) -> (Coverage, f64) {
    let (mut now, mut held_before) = (Coverage::default(), 0);
    for season in seasons {
        for _ in 0..FIELDS / SEASONS {
            let field = oddity.field(scatter, mean, sites, chance);
            now.add(confidence_at_truth(&field, season));
            let before = student_of_logarithm(&field.counts(), CONFIDENCE);
            let held =
                before.is_some_and(|(low, high)| low <= field.true_mean && field.true_mean <= high);
            held_before += u32::from(held);
        }
    }
    (now, 100.0 * f64::from(held_before) / f64::from(FIELDS))
}

fn chance_of(stream: u64) -> ChaCha8Rng {
    let mut chance = ChaCha8Rng::seed_from_u64(SEED);
    chance.set_stream(stream);
    chance
}

/// All cells of a scatter; the seasons' clumpings, and the coverage over the seasons' own fields.
struct Grid {
    cells: Vec<Vec<(Coverage, f64)>>,
    own: Coverage,
    /// Upper end ÷ mean of the ranges with two ends, the largest.
    largest_end: f64,
    k: Vec<f64>,
}

fn grid(oddity: &Oddity, scatter: Scatter, stream: u64) -> Grid {
    let mut chance = chance_of(stream);
    let (mut own, mut largest_end) = (Coverage::default(), 0.0_f64);
    let mut seasons = Vec::new();
    for _ in 0..SEASONS {
        let fields = oddity.season(scatter, &mut chance);
        let season = clumping_of(&fields);
        for field in &fields {
            own.add(confidence_at_truth(field, &season));
            let mean = ClumpedMean::new(&field.counts(), &season).expect("a sample");
            if let Some(MeanRange::Between { high, .. }) = mean.range(CONFIDENCE) {
                largest_end = largest_end.max(high / field.counts().mean);
            }
        }
        seasons.push(season);
    }
    let mut row = |sites: u32| {
        let cells = MEANS.map(|mean| cell(oddity, scatter, &seasons, (sites, mean), &mut chance));
        cells.to_vec()
    };
    let cells = SITES.iter().map(|sites| row(*sites)).collect();
    let k = seasons.iter().map(SeasonClumping::k).collect();
    Grid {
        cells,
        own,
        largest_end,
        k,
    }
}

/// Lowest and highest of the numbers.
fn from_to(numbers: impl Iterator<Item = f64>) -> String {
    let (low, high) = numbers.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), number| {
        (low.min(number), high.max(number))
    });
    format!("{low:.1}–{high:.1}")
}

/// Coverage by scatter, sites and mean.
pub fn ranges() {
    println!(
        "## The range of a field's mean\n\n{FIELDS} fields a cell, in {SEASONS} seasons of {} other fields from which the \
         clumping is taken (two to eight sites, means mostly from 0.3 to 8, k of a field differs by sd {} of its \
         logarithm); seed {SEED}, {} units a site, nominal {:.0}%. The simulation's own 95% limits are ±1.0 point at 95% \
         and ±0.6 at 98%.\n",
        ORDINARY.fields,
        ORDINARY.k_differs,
        super::invented_fields::UNITS_PER_SITE,
        100.0 * CONFIDENCE
    );
    for scatter in &SCATTERS {
        println!(
            "- `{}`: site means Gamma with shape {} (coefficient of variation {:.0}%), units within a site negative \
             binomial with k {}.",
            scatter.name,
            scatter.between_sites,
            100.0 / scatter.between_sites.sqrt(),
            scatter.within_sites
        );
    }
    println!(
        "\nIn a cell: coverage in percent [of it *too low*: the true mean is above the range, the error that leaves a bad \
         field untreated]. *Before* is the lowest and highest coverage of the row by Student's t of the logarithm, which \
         was published first: it knows the field's own sites alone, gives [0, 0] where nothing was found, and nothing for \
         one site. Coverage above 97% is that of counts near zero and of single sites: whole counts cannot be split.\n"
    );
    let head: Vec<String> = MEANS.iter().map(|mean| format!("mean {mean}")).collect();
    println!("| scatter | sites | {} | before |", head.join(" | "));
    println!("|---|--:|{}---|", "---|".repeat(MEANS.len()));
    let mut grids = Vec::new();
    for (stream, scatter) in (0..).zip(SCATTERS) {
        let grid = grid(&ORDINARY, scatter, stream);
        for (sites, row) in SITES.iter().zip(&grid.cells) {
            let cells: Vec<String> = row
                .iter()
                .map(|(now, _)| format!("{:.1} [{:.1}]", now.percent(), now.percent_too_low()))
                .collect();
            let before = match sites {
                1 => "none".to_owned(),
                _ => from_to(row.iter().map(|(_, before)| *before)),
            };
            println!(
                "| {} | {sites} | {} | {before} |",
                scatter.name,
                cells.join(" | ")
            );
        }
        grids.push((scatter, grid));
    }
    println!(
        "\n| scatter | cells, lowest–highest | the seasons' own fields | k of a season | largest upper end given ÷ mean |"
    );
    println!("|---|---|---|---|---|");
    for (scatter, grid) in &grids {
        println!(
            "| {} | {} | {:.1} | {} | {:.1} |",
            scatter.name,
            from_to(grid.cells.iter().flatten().map(|(now, _)| now.percent())),
            grid.own.percent(),
            from_to(grid.k.iter().copied()),
            grid.largest_end
        );
    }
}

/// Coverage in unusual seasons.
pub fn unusual_seasons() {
    println!(
        "\n## Unusual seasons\n\nLowest–highest coverage of the {} cells in percent, and over the seasons' own fields. Counts \
         and the numbers of sites are as above.\n",
        SITES.len() * MEANS.len()
    );
    println!("| season | even | patchy | extreme |\n|---|---|---|---|");
    for (place, oddity) in (1..).zip(ODDITIES) {
        let row: Vec<String> = (0..)
            .zip(SCATTERS)
            .map(|(stream, scatter)| {
                let grid = grid(&oddity, scatter, 10 * place + stream);
                let cells = grid.cells.iter().flatten().map(|(now, _)| now.percent());
                format!("{}; {:.1}", from_to(cells), grid.own.percent())
            })
            .collect();
        println!("| {} | {} |", oddity.name, row.join(" | "));
    }
}
