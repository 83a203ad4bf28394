//! The standing cautions, once. Every output that bears on treatment takes them from here.
//!
//! They name no product, rate or interval: those differ from product to product, and a number
//! here would be read instead of the label.

/// One caution: a few words to find it by, and what to mind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Caution {
    /// A few words.
    pub title: String,
    /// One to three sentences.
    pub text: String,
}

/// The cautions in one sentence, for files that have room for no more.
pub(crate) const IN_ONE_SENTENCE: &str = "Preliminary regional scouting figures, not a treatment recommendation: scout your own field, follow the product's label and local rules, mind bees at \
    bloom, and ask licensed local advice before treating.";

/// The same for what is about one field.
pub(crate) const OF_ONE_FIELD: &str = "A count of one field, not a treatment recommendation: follow the product's label and local rules, mind bees at bloom, and ask \
    licensed local advice before treating.";

/// The scout's own safety in short, title and text, where there is room for no more. Scouts are crop advisers under
/// the worker protection standard, 40 CFR part 170; heat, storms and stings: standard practice, no published source.
pub(crate) const SCOUT_FIRST: (&str, &str) = (
    "Your own safety first",
    "Before you enter, ask the grower about recent and planned sprays and obey posted signs; leave if a sprayer or an aircraft \
     works near. Carry water, leave in lightning, mind stings, and tell somebody where you are.",
);

/// The words by which a file of a scenario is known, whatever its name.
pub(crate) const NOTICE: &str = "Hypothetical scenario, not an observed result: figures under other economics than those in the records. It is never \
    issued as an alert and never published.";

/// The standing cautions, most weighty first. `treatment_stage` is the stage of the crop at which the
/// protocol says to treat, such as `R5.1`; at a stage of sunflower's bloom the caution on bees says so.
pub(crate) fn standing_cautions(crop: &str, treatment_stage: Option<&str>) -> Vec<Caution> {
    vec![
        // US EPA label training, module 1, p. 16; EPA Label Review Manual, ch. 11.
        caution(
            "The label is the law",
            "Follow the label of the product in your hand: the crop, the pest, the rate and the \
             maximum per season. A use that the label does not allow is unlawful.",
        ),
        // Regional counts give regional risk; scouting of the field itself decides: Canadian
        // prairie monitoring page and Canola Council, April 4, 2018.
        caution(
            "Scout your own field",
            "County figures are not a treatment recommendation. Fields a mile apart can differ \
             several-fold, and so can their costs and plant populations. Count in your own field, \
             and compare with your own threshold.",
        ),
        // Extension bee-health page; USDA and EPA: sunflower is highly attractive to bees; late
        // evening to early morning and short-residual products are less harmful.
        Caution {
            title: "Bees and other pollinators".to_owned(),
            text: pollinators(crop, treatment_stage),
        },
        // 40 CFR part 170 (worker protection); intervals differ widely on sunflower: PNW Insect
        // Handbook.
        caution(
            "Restricted-entry and pre-harvest intervals",
            "The restricted-entry interval (REI) and the pre-harvest interval (PHI) differ widely \
             between products. Check both on the label; for a tank mix the longest of each applies.",
        ),
        // FIFRA, 7 U.S.C. 136(e), for restricted-use products; the rest standard practice; no published source.
        caution(
            "Local rules and licensed advice come first",
            "State and local law, your extension office, and your crop consultant or certified \
             applicator take precedence over this page. Restricted-use pesticides (RUPs) are for \
             certified applicators and those whom they directly supervise.",
        ),
        // EPA PR Notice 2017-1 (purpose).
        caution(
            "Insecticide resistance",
            "After a control failure do not repeat the same mode of action (MoA); rotate MoA \
             groups.",
        ),
        // Standard practice; no published source.
        caution(
            "Preliminary figures",
            "Late and corrected visits are added as they come in, and this week's figures may \
             change with them.",
        ),
    ]
}

/// Whether a stage on the sunflower scale falls at bloom: R5.0 to R5.9, the ray flowers to the
/// last disk flower, and R6, when ray flowers wilt. Source: Schneiter and Miller, Description of
/// sunflower growth stages, Crop Science 21 (1981) 901–903; from memory.
fn falls_at_bloom(stage: &str) -> bool {
    stage == "R5" || stage == "R6" || stage.starts_with("R5.")
}

fn pollinators(crop: &str, treatment_stage: Option<&str>) -> String {
    let of_sunflower = crop == "sunflower";
    let bees = if of_sunflower {
        "Sunflower in bloom draws bees."
    } else {
        // Standard practice; no published source.
        "A crop in bloom draws bees, and so do weeds that bloom in it and next to it."
    };
    let care = "If treating in bloom cannot be avoided, late evening to early morning, when bees \
                are not flying, does less harm, and so do products with short residual \
                activity; watch the wind, and warn beekeepers nearby.";
    match treatment_stage.filter(|stage| of_sunflower && falls_at_bloom(stage)) {
        Some(stage) => format!(
            "{bees} Treatment at {stage} falls at bloom, when they work the field: this timing \
             conflicts with bee safety. {care}"
        ),
        None => format!("{bees} {care}"),
    }
}

fn caution(title: &str, text: &str) -> Caution {
    Caution {
        title: title.to_owned(),
        text: text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_treatment_at_bloom_is_said_to_fall_at_bloom_and_another_is_not() {
        let at = |stage| standing_cautions("sunflower", stage)[2].text.clone();
        for stage in ["R5.1", "R5", "R5.9", "R6"] {
            let says = format!("Treatment at {stage} falls at bloom");
            assert!(at(Some(stage)).contains(&says), "{stage}");
        }
        for stage in [Some("R3"), Some("R50"), Some("V5"), None] {
            assert!(!at(stage).contains("falls at bloom"), "{stage:?}");
            assert!(at(stage).contains("bees"), "{stage:?}");
        }
        // R5 of corn is no bloom of sunflower.
        let of_corn = standing_cautions("corn", Some("R5"))[2].text.clone();
        assert!(of_corn.contains("bees") && !of_corn.contains("falls at bloom"));
        assert!(!of_corn.contains("Sunflower"));
    }

    #[test]
    fn no_caution_carries_a_rate_or_an_interval() {
        for caution in standing_cautions("sunflower", None) {
            let digits = caution.text.chars().any(|c| c.is_ascii_digit());
            assert!(!digits, "{}", caution.text);
        }
    }

    #[test]
    fn the_sentence_defers_to_label_field_bees_and_local_advice() {
        for word in ["label", "own field", "bees", "local", "licensed"] {
            assert!(IN_ONE_SENTENCE.contains(word), "{word}");
        }
    }
}
