//! Development of crops and pests: published sums of heat.

use scouting::phenology::degree_days::{Method, celsius};
use scouting::phenology::development::{CropModel, Development};
use scouting::visit::stage::Stage;

use super::{assert_near, heat, rule};

/// Sunflower by Manitoba Agriculture, Food and Rural Development 2014: degree-days (°C) from planting, base
/// 6.7 °C (44 °F, rounded), (maximum + minimum) / 2 less the base.
const MODELS: &str = r#"
[crop]
base_c = 6.7
method = "average-then-base"
from = "planting"
source = "Manitoba Agriculture, Food and Rural Development 2014"
[crop.stages]
VE = 97
V1 = 117
V12 = 333
R1 = 569
R2 = 647
R3 = 726
R4 = 805
"R5.1" = 883
"R5.5" = 962
R6 = 1040
R7 = 1119
R8 = 1197
R9 = 1276
"#;

fn models() -> Development {
    toml::from_str(MODELS).expect("models that fit")
}

fn stage(text: &str) -> Stage {
    Stage::parse(text).expect("a stage of the scale")
}

#[test]
fn sunflower_grows_by_the_table_of_manitoba() {
    let crop = models().crop.expect("a crop model");
    assert_near(
        heat(crop.rule, 10.0, 25.0),
        10.8,
        1e-9,
        "the source's worked day",
    );
    assert_near(
        celsius(44.0),
        6.667,
        5e-4,
        "44 °F; the source rounds to 6.7",
    );
    let until = |name: &str| crop.heat_until(stage(name)).expect("in the table");
    for (from, to, expected) in [
        ("R2", "R3", 79.0),
        ("R3", "R5.1", 157.0),
        ("R2", "R5.1", 236.0),
        ("R5.1", "R9", 393.0),
    ] {
        assert_near(
            until(to) - until(from),
            expected,
            1e-9,
            &format!("{from} to {to}"),
        );
    }
    // At a mean of 20 °C: recomputed from the table.
    let a_day = heat(crop.rule, 20.0, 20.0);
    assert_near(
        (until("R3") - until("R2")) / a_day,
        5.9,
        0.05,
        "R2 to R3, days",
    );
    assert_near(
        (until("R5.1") - until("R3")) / a_day,
        11.8,
        0.05,
        "R3 to R5.1, days",
    );
    // 5 to 31 August in Manitoba, 27 days, gives 275 to 320 by the same source: means of 16.9 and 18.6 °C,
    // and the cool end of the range that the days without weather are computed at.
    assert_near(
        27.0 * heat(crop.rule, 16.9, 16.9),
        275.0,
        1.0,
        "a cool August",
    );
    assert_near(
        27.0 * heat(crop.rule, 18.55, 18.55),
        320.0,
        1.0,
        "a warm August",
    );
}

/// Days from an observed stage to a tabled one at a constant mean temperature, °C, of `warm` for the fewest and
/// `cool` for the most. None outside of the table, or where it is too cold to grow.
fn days_to(
    crop: &CropModel,
    observed: Stage,
    target: Stage,
    [cool, warm]: [f64; 2],
) -> Option<[f64; 2]> {
    let [least, most] = crop.heat_to(observed, target)?;
    let days = |needed: f64, mean_c: f64| {
        let a_day = heat(crop.rule, mean_c, mean_c);
        (a_day > 0.0).then(|| needed.max(0.0) / a_day)
    };
    Some([days(least, warm)?, days(most, cool)?])
}

/// The days of the protocol file's `days_to_treatment`, from the table of Manitoba at a mean of 17 to 24 °C,
/// rounded outwards to whole days.
#[test]
fn days_to_treatment_follow_from_the_table() {
    let crop = models().crop.expect("a crop model");
    for (from, exact, days) in [
        ("R1", [236.0 / 17.3, 314.0 / 10.3], [13.0, 31.0]),
        ("R2", [157.0 / 17.3, 236.0 / 10.3], [9.0, 23.0]),
        ("R3", [78.0 / 17.3, 157.0 / 10.3], [4.0, 16.0]),
        ("R4", [0.0, 78.0 / 10.3], [0.0, 8.0]),
    ] {
        let found = days_to(&crop, stage(from), stage("R5.1"), [17.0, 24.0]);
        let [few, many] = found.expect("in the table");
        assert_near(few, exact[0], 1e-9, from);
        assert_near(many, exact[1], 1e-9, from);
        assert_eq!([few.floor(), many.ceil()], days, "{from}");
    }
    // Between two stages of the table, beyond it, and too cold to grow.
    assert_eq!(crop.heat_of(stage("V5")), Some([117.0, 333.0]));
    assert_eq!(crop.heat_of(stage("R5.0")), Some([805.0, 883.0]));
    assert_eq!(crop.heat_of(stage("R5")), Some([805.0, 1040.0]));
    assert_eq!(crop.heat_of(stage("R9")), None);
    assert_eq!(
        days_to(&crop, stage("R2"), stage("R5.1"), [6.0, 24.0]),
        None
    );
}

/// Barker and co-author 1993, J. Kansas Entomol. Soc. 66(4):420–426, abstract: thresholds 11.1 and 15.0 °C; constants 298.4,
/// 403.3, 128.7. The days and sums are recomputed. The abstract prints 831.4 for the whole, its parts make
/// 830.4.
#[test]
fn the_banded_sunflower_moth_takes_the_published_heat() {
    for method in [Method::AverageThenBase, Method::SingleSine] {
        let before_diapause = rule(method, 11.1);
        for (mean, days) in [(20.0, 33.53), (25.0, 21.47), (28.0, 17.66)] {
            let a_day = heat(before_diapause, mean, mean);
            assert_near(
                298.4 / a_day,
                days,
                0.01,
                &format!("{method:?} at {mean} °C"),
            );
        }
    }
    assert_near(
        298.4 + 403.3 + 128.7,
        831.4,
        1.0 + 1e-9,
        "egg to adult with diapause",
    );
    // 532.0 from the end of diapause to the adult: at 20 °C 5.0 a day over 15.0 °C.
    let after_diapause = rule(Method::SingleSine, 15.0);
    assert_near(
        (403.3 + 128.7) / heat(after_diapause, 20.0, 20.0),
        106.4,
        1e-9,
        "days",
    );
}
