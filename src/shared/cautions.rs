//! The standing cautions, once. Every output that bears on treatment takes them from here.
//!
//! They name no product, rate or interval: those differ from product to product, and a number
//! here would be read instead of the label.

use std::collections::BTreeSet;

use super::shown_numbers::join_with_and;
use scouting::protocol::catalogue::Protocol;

/// One caution: a few words to find it by, and what to mind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Caution {
    /// What it is about.
    pub group: Group,
    /// A few words.
    pub title: String,
    /// One to three sentences.
    pub text: String,
}

/// What cautions are about, in the order in which they are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Group {
    /// What decides before the figures of a page do.
    Treating,
    /// What a treatment does elsewhere than to the pest.
    Around,
    /// What the figures are.
    Figures,
}

impl Group {
    /// All of them, in order.
    pub(crate) const ALL: [Group; 3] = [Group::Treating, Group::Around, Group::Figures];

    /// Its heading.
    pub(crate) fn heading(self) -> &'static str {
        match self {
            Group::Treating => "Before anyone treats",
            Group::Around => "Bees, neighbors, water and wildlife",
            Group::Figures => "About these figures",
        }
    }
}

/// A crop, and the stage at which a protocol says to treat it, such as `R5.1`.
pub(crate) type CropAndStage<'a> = (&'a str, Option<&'a str>);

/// Those of a protocol.
pub(crate) fn crop_and_stage(protocol: &Protocol) -> CropAndStage<'_> {
    (&protocol.crop, protocol.timing.treat_at.as_deref())
}

/// The cautions in one sentence, for files that have room for no more.
pub(crate) const IN_ONE_SENTENCE: &str = "Preliminary regional scouting figures, not a treatment recommendation: scout your own field, follow the product's label and local rules, mind bees at \
    bloom, and ask licensed local advice before treating.";

/// The same for a text message, in letters that every telephone has.
pub(crate) const SHORT: &str = "No treatment recommendation: scout your own field; label, local law, bees and licensed advice come first.";

/// The same for what is about one field.
pub(crate) const OF_ONE_FIELD: &str = "A count of one field, not a treatment recommendation: follow the product's label and local rules, mind bees at bloom, and ask \
    licensed local advice before treating.";

/// The same for a table of thresholds.
pub(crate) const OF_A_THRESHOLD: &str = "Thresholds, not a treatment recommendation: scout your own field, follow the product's label and local rules, mind bees at bloom, \
    and ask licensed local advice before treating.";

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

/// The standing cautions, most weighty first. Where a text is about several protocols, the one on bees says of each
/// crop whose treatment falls at bloom that it does.
pub(crate) fn standing_cautions<'a>(
    crops: impl IntoIterator<Item = CropAndStage<'a>>,
) -> Vec<Caution> {
    let crops: Vec<CropAndStage> = crops.into_iter().collect();
    [before_treating(), around_the_field(&crops), vec![figures()]].concat()
}

/// The standing cautions as lists of Markdown, a heading to each group.
pub(crate) fn cautions_markdown<'a>(crops: impl IntoIterator<Item = CropAndStage<'a>>) -> String {
    let cautions = standing_cautions(crops);
    let groups = Group::ALL.map(|group| {
        let of_group = cautions.iter().filter(|caution| caution.group == group);
        let lines: Vec<String> = of_group
            .map(|caution| format!("- **{}.** {}\n", caution.title, caution.text))
            .collect();
        format!("### {}\n\n{}", group.heading(), lines.concat())
    });
    groups.join("\n")
}

fn before_treating() -> Vec<Caution> {
    let caution = |title, text| caution(Group::Treating, title, text);
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
        // FIFRA, 7 U.S.C. 136(e), for restricted-use products; the rest standard practice; no published source.
        caution(
            "Local rules and licensed advice come first",
            "State and local law, your extension office, and your crop consultant or certified \
             applicator take precedence over this page. Restricted-use pesticides (RUPs) are for \
             certified applicators and those whom they directly supervise.",
        ),
        // 40 CFR part 170 (worker protection); intervals differ widely on sunflower: PNW Insect
        // Handbook.
        caution(
            "Restricted-entry and pre-harvest intervals",
            "The restricted-entry interval (REI) and the pre-harvest interval (PHI) differ widely \
             between products. Check both on the label; for a tank mix the longest of each applies. The REI holds for \
             scouts, too.",
        ),
        // EPA PR Notice 2017-1 (purpose).
        caution(
            "Insecticide resistance",
            "After a control failure do not repeat the same mode of action (MoA); rotate MoA \
             groups.",
        ),
    ]
}

fn around_the_field(crops: &[CropAndStage]) -> Vec<Caution> {
    let caution = |title, text| caution(Group::Around, title, text);
    vec![
        // Extension bee-health page; USDA and EPA: sunflower is highly attractive to bees; late evening to early morning
        // and short-residual products are less harmful. A mile and two days: wording of labels for crops in bloom.
        Caution {
            group: Group::Around,
            title: "Bees and other pollinators".to_owned(),
            text: pollinators(crops),
        },
        // Toxicity to fish and aquatic invertebrates is on labels under "Environmental hazards"; the rest standard
        // practice; no published source.
        caution(
            "Drift",
            "Spray that drifts reaches people, livestock, water, organic and other sensitive crops. Mind the wind and \
             temperature inversions, keep the label's buffers, and look up the register of sensitive sites. Many \
             insecticides are highly toxic to fish and other animals in water.",
        ),
        // Labels restrict it product by product: PNW Insect Handbook.
        caution(
            "Grazing and feed",
            "Do not graze livestock on treated plants or feed them to it, unless the label allows it.",
        ),
        // US EPA, Endangered Species Protection Program.
        caution(
            "Endangered species",
            "Where the label refers to them, the EPA's Endangered Species Protection Bulletins for the county are \
             binding: look them up for the month of use.",
        ),
        // Standard practice; no published source.
        caution(
            "Natural enemies",
            "A treatment that is not needed kills the natural enemies of pests as well.",
        ),
    ]
}

// Standard practice; no published source.
fn figures() -> Caution {
    caution(
        Group::Figures,
        "Preliminary figures",
        "Late and corrected visits are added as they come in, and this week's figures may \
         change with them.",
    )
}

/// What a scout minds for their own safety, before anything else.
pub(crate) fn scout_safety() -> Vec<Caution> {
    let caution = |title, text| caution(Group::Treating, title, text);
    vec![
        // 40 CFR part 170 (worker protection), for signs and intervals; the rest standard practice; no published source.
        caution(
            "Before you enter",
            "Have the grower's permission, and ask about recent and planned sprays. Obey posted signs, and stay out until \
             the restricted-entry interval (REI) of every product has ended.",
        ),
        // 40 CFR 170.405 (application exclusion zone).
        caution(
            "Sprayers and aircraft",
            "Leave at once when a sprayer or an aircraft works in this field or next to it.",
        ),
        // 40 CFR part 170; South Dakota Department of Agriculture, Worker Protection Standard: Employer of Crop Advisors
        // FAQs.
        caution(
            "US worker protection",
            "Scouts count as crop advisors under the Worker Protection Standard. During a treatment and its REI the \
             protections of pesticide handlers apply: ask your employer for training and equipment.",
        ),
        // Standard practice; no published source.
        caution(
            "Heat, storms and stings",
            "Take water, and rest in the shade. Leave the field when you hear thunder. Bees and wasps work a crop in bloom: \
             carry what you need against stings. Tell somebody where you are and when you will be back.",
        ),
        // Standard practice; no published source.
        caution(
            "Clean boots",
            "Clean boots, clothes and tools between fields, so that you carry no seeds, soil or disease.",
        ),
    ]
}

/// Whether a stage on the sunflower scale falls at bloom: R5.0 to R5.9, the ray flowers to the
/// last disk flower, and R6, when ray flowers wilt. Source: Schneiter and Miller, Description of
/// sunflower growth stages, Crop Science 21 (1981) 901–903; from memory.
fn falls_at_bloom(stage: &str) -> bool {
    stage == "R5" || stage == "R6" || stage.starts_with("R5.")
}

fn pollinators(crops: &[CropAndStage]) -> String {
    const SUNFLOWER: &str = "sunflower";
    let of_sunflower = crops.iter().any(|(crop, _)| *crop == SUNFLOWER);
    let of_another = crops.is_empty() || crops.iter().any(|(crop, _)| *crop != SUNFLOWER);
    let mut said = Vec::new();
    if of_sunflower {
        said.push("Sunflower in bloom draws bees.".to_owned());
    }
    if of_another {
        // Standard practice; no published source.
        said.push(
            "A crop in bloom draws bees, and so do weeds that bloom in it and next to it."
                .to_owned(),
        );
    }
    let of_stage = |(crop, stage): &CropAndStage| {
        let stage = (*stage)?;
        (*crop == SUNFLOWER && falls_at_bloom(stage)).then(|| stage.to_owned())
    };
    let stages: BTreeSet<String> = crops.iter().filter_map(of_stage).collect();
    let stages: Vec<String> = stages.into_iter().collect();
    if let Some(stages) = join_with_and(&stages) {
        let sunflower = if of_another { " of sunflower" } else { "" };
        said.push(format!(
            "Treatment{sunflower} at {stages} falls at bloom, when they work the field: this timing conflicts with bee \
             safety."
        ));
    }
    said.push(
        "If treating in bloom cannot be avoided, late evening to early morning, when bees are not flying, does less harm, \
         and so do products with short residual activity. Look up the state's register of hives, and tell beekeepers \
         within a mile two days ahead."
            .to_owned(),
    );
    said.join(" ")
}

fn caution(group: Group, title: &str, text: &str) -> Caution {
    Caution {
        group,
        title: title.to_owned(),
        text: text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bees(crops: &[CropAndStage]) -> String {
        let mut cautions = standing_cautions(crops.iter().copied()).into_iter();
        let bees = cautions.find(|caution| caution.title.starts_with("Bees"));
        bees.expect("a caution on bees").text
    }

    #[test]
    fn a_treatment_at_bloom_is_said_to_fall_at_bloom_and_another_is_not() {
        let at = |stage| bees(&[("sunflower", stage)]);
        for stage in ["R5.1", "R5", "R5.9", "R6"] {
            let says = format!("Treatment at {stage} falls at bloom");
            assert!(at(Some(stage)).contains(&says), "{stage}");
        }
        for stage in [Some("R3"), Some("R50"), Some("V5"), None] {
            assert!(!at(stage).contains("falls at bloom"), "{stage:?}");
            assert!(at(stage).contains("bees"), "{stage:?}");
        }
        // R5 of corn is no bloom of sunflower.
        let of_corn = bees(&[("corn", Some("R5"))]);
        assert!(of_corn.contains("bees") && !of_corn.contains("falls at bloom"));
        assert!(!of_corn.contains("Sunflower"));
    }

    /// Files about several protocols keep the sentence of the one whose treatment falls at bloom.
    #[test]
    fn among_several_crops_the_bloom_of_sunflower_is_still_said() {
        let both = bees(&[
            ("corn", None),
            ("sunflower", Some("R5.1")),
            ("sunflower", None),
            ("sunflower", Some("R4")),
        ]);
        for says in [
            "Sunflower in bloom draws bees.",
            "A crop in bloom draws bees, and so do weeds",
            "Treatment of sunflower at R5.1 falls at bloom",
        ] {
            assert!(both.contains(says), "{both}");
        }
        let none = bees(&[]);
        assert!(
            none.contains("A crop in bloom") && !none.contains("unflower"),
            "{none}"
        );
    }

    #[test]
    fn neighbors_water_feed_wildlife_and_scouts_are_not_forgotten() {
        let page = cautions_markdown([("sunflower", Some("R5.1"))]);
        for word in [
            "livestock",
            "water",
            "organic",
            "inversions",
            "buffers",
            "fish",
            "mile",
            "two days",
            "hives",
            "graze",
            "feed",
            "Endangered",
            "natural enemies",
            "holds for scouts",
        ] {
            assert!(page.contains(word), "{word}: {page}");
        }
        for group in Group::ALL {
            assert!(page.contains(&format!("### {}", group.heading())), "{page}");
        }
        let safety: Vec<String> = scout_safety().into_iter().map(|one| one.text).collect();
        let safety = safety.join(" ");
        for word in [
            "permission",
            "planned sprays",
            "posted signs",
            "REI",
            "aircraft",
            "crop advisors",
            "water",
            "thunder",
            "stings",
            "Tell somebody",
            "boots",
        ] {
            assert!(safety.contains(word), "{word}: {safety}");
        }
    }

    #[test]
    fn no_caution_carries_a_rate_or_an_interval() {
        for caution in standing_cautions([("sunflower", None)]) {
            let digits = caution.text.chars().any(|c| c.is_ascii_digit());
            assert!(!digits, "{}", caution.text);
        }
    }

    #[test]
    fn the_sentence_defers_to_label_field_bees_and_local_advice() {
        for word in ["label", "own field", "bees", "local", "licensed"] {
            assert!(IN_ONE_SENTENCE.contains(word), "{word}");
            assert!(SHORT.contains(word), "{word}");
        }
    }
}
