//! The codes of findings and flags: every one that the program gives, with its public text.
//!
//! A code is written in kebab-case in reports and stores, and its text never changes. A new one gets a
//! line in the list below; the compiler then asks for it wherever codes are distinguished.

use std::borrow::Borrow;
use std::cmp::Ordering;
use std::fmt;
use std::hash::{Hash, Hasher};
use std::str::FromStr;
use std::sync::{Mutex, PoisonError};

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// What a code is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Class {
    /// A record that is no visit of the schema; it is held.
    Schema,
    /// A visit that breaks a rule of scouting; it is held.
    Rule,
    /// A cell of a mapped table that cannot be read; its record is held.
    Cell,
    /// An entry of a count sheet that cannot be taken; its record is held.
    CountSheet,
    /// A flag of an accepted visit.
    Flag,
    /// A doubt about a visit; it flags the visit or, if the workspace says so, holds it.
    Doubt,
    /// A code of another version of the program.
    Unknown,
}

/// A text that is the code of no finding or flag.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnknownCode;

macro_rules! codes {
    ($($class:ident { $($code:ident = $text:literal,)* })*) => {
        /// The code of a finding or a flag.
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum Code {
            $($(
                #[doc = concat!("`", $text, "`")]
                $code,
            )*)*
            /// A code that a store of another version of the program holds. Findings of held records are
            /// read back whatever their code is, so its text is carried as it came. Each text is kept
            /// once for as long as the program runs; only a store, and settings that name no doubt, give such codes.
            Other(&'static str),
        }

        impl Code {
            /// Every code that this program gives.
            pub const ALL: &[Code] = &[$($(Code::$code,)*)*];

            /// The public text: `counts-per-head-wrong`.
            pub const fn as_str(self) -> &'static str {
                match self {
                    $($(Code::$code => $text,)*)*
                    Code::Other(text) => text,
                }
            }

            /// What the code is about.
            pub const fn class(self) -> Class {
                match self {
                    $($(Code::$code => Class::$class,)*)*
                    Code::Other(_) => Class::Unknown,
                }
            }
        }

        impl FromStr for Code {
            type Err = UnknownCode;

            fn from_str(text: &str) -> Result<Code, UnknownCode> {
                match text {
                    $($($text => Ok(Code::$code),)*)*
                    _ => Err(UnknownCode),
                }
            }
        }
    };
}

codes! {
    Schema {
        NotJson = "not-json",
        NestedTooDeep = "nested-too-deep",
        RecordTooLong = "record-too-long",
        DuplicateMember = "duplicate-member",
        MemberMissing = "member-missing",
        MemberUnknown = "member-unknown",
        WrongType = "wrong-type",
        OutOfRange = "out-of-range",
        WrongLength = "wrong-length",
        WrongForm = "wrong-form",
        CountsNotOneForm = "counts-not-one-form",
        MoreFindings = "more-findings",
        NotRepresentable = "not-representable",
    }
    Rule {
        ProtocolUnknown = "protocol-unknown",
        DateOutsideSeason = "date-outside-season",
        DateAfterSubmission = "date-after-submission",
        DateTooOld = "date-too-old",
        OtherSeason = "other-season",
        TreatedAfterVisit = "treated-after-visit",
        TreatedLongBeforeVisit = "treated-long-before-visit",
        UntreatedWithDate = "untreated-with-date",
        StageUnknown = "stage-unknown",
        CropTypeUnknown = "crop-type-unknown",
        CountFormWrong = "count-form-wrong",
        CountsPerHeadWrong = "counts-per-head-wrong",
        CountAboveMost = "count-above-most",
        CountImpossible = "count-impossible",
        SiteRepeated = "site-repeated",
        ZoneMissing = "zone-missing",
        EconomicsMissing = "economics-missing",
        CurrenciesDiffer = "currencies-differ",
        TreatmentCostImplausible = "treatment-cost-implausible",
        MarketValueImplausible = "market-value-implausible",
        CostToValueImplausible = "cost-to-value-implausible",
        PlantPopulationImplausible = "plant-population-implausible",
        AreaImplausible = "area-implausible",
        OutsideRegion = "outside-region",
        CountyUnknown = "county-unknown",
        RevisionConflict = "revision-conflict",
        IdIsPrivate = "id-is-private",
        IdIsAMark = "id-is-a-mark",
        IdIsADate = "id-is-a-date",
    }
    Cell {
        CellBroken = "cell-broken",
        CellStruck = "cell-struck",
        CellBlank = "cell-blank",
        WrongKind = "wrong-kind",
        CodeUnknown = "code-unknown",
        DittoUnexplained = "ditto-unexplained",
        PartMissing = "part-missing",
        TextMarkUnreadable = "text-mark-unreadable",
        IdLostDigits = "id-lost-digits",
        IdLostZeros = "id-lost-zeros",
        TruthUnreadable = "truth-unreadable",
        OutlineNotJson = "outline-not-json",
        DateInText = "date-in-text",
        DateInNumber = "date-in-number",
        DateIsANumber = "date-is-a-number",
        DateAmbiguous = "date-ambiguous",
        DateUnreadable = "date-unreadable",
        TimeMissing = "time-missing",
        TimeUnreadable = "time-unreadable",
        TimeZoneMissing = "time-zone-missing",
        DigitsUnfamiliar = "digits-unfamiliar",
        NumberInWords = "number-in-words",
        NumberIsAMark = "number-is-a-mark",
        NumberIsAFraction = "number-is-a-fraction",
        NumberIsARange = "number-is-a-range",
        NumberIsAPercentage = "number-is-a-percentage",
        NumberNotExact = "number-not-exact",
        NumberAmbiguous = "number-ambiguous",
        NumberUnreadable = "number-unreadable",
        NumberWithText = "number-with-text",
        AngleNotDecimal = "angle-not-decimal",
        UnitDiffers = "unit-differs",
        UnitInCell = "unit-in-cell",
        UnitMissing = "unit-missing",
        UnitBlank = "unit-blank",
        CountNotWhole = "count-not-whole",
        CountRepeated = "count-repeated",
        CountsMissing = "counts-missing",
        BractMissing = "bract-missing",
        KeyBlank = "key-blank",
        RowsDisagree = "rows-disagree",
        UnitsChanged = "units-changed",
    }
    CountSheet {
        TabUnknown = "tab-unknown",
        RowsAboveHeadings = "rows-above-headings",
        ColumnUnknown = "column-unknown",
        CellEmpty = "cell-empty",
        NotText = "not-text",
        DateForText = "date-for-text",
        NotANumber = "not-a-number",
        TextForNumber = "text-for-number",
        DateForNumber = "date-for-number",
        DayUnreadable = "day-unreadable",
        VisitNumberMissing = "visit-number-missing",
        VisitNumberRepeated = "visit-number-repeated",
        VisitWithoutCounts = "visit-without-counts",
        CountsWithoutVisit = "counts-without-visit",
        SiteNumberMissing = "site-number-missing",
        SiteWithoutCounts = "site-without-counts",
        SideDiffers = "side-differs",
        UnitNumberMissing = "unit-number-missing",
        UnitRepeated = "unit-repeated",
        UnitHalfFilled = "unit-half-filled",
        UnitRowMissing = "unit-row-missing",
        TotalDiffers = "total-differs",
        TotalOfSomeUnits = "total-of-some-units",
        HeadingChanged = "heading-changed",
    }
    Flag {
        TooFewSites = "too-few-sites",
        TooFewUnits = "too-few-units",
        CountEarly = "count-early",
        CountLate = "count-late",
        CurrencyUnchecked = "currency-unchecked",
        CountyMismatch = "county-mismatch",
        CountyNotInRegion = "county-not-in-region",
        PointUnknown = "point-unknown",
        AfterTreatment = "after-treatment",
        TreatmentWithoutDate = "treatment-without-date",
        TreatmentWithoutKind = "treatment-without-kind",
        ByteOrderMark = "byte-order-mark",
        HeldIdUnknown = "held-id-unknown",
    }
    Doubt {
        FieldMoved = "field-moved",
        FieldTwice = "field-twice",
        EconomicsUnusual = "economics-unusual",
        CountsAllEqual = "counts-all-equal",
        DigitPreference = "digit-preference",
        ObserverInTwoPlaces = "observer-in-two-places",
        StageBackwards = "stage-backwards",
        VisitLongBeforeSubmission = "visit-long-before-submission",
        CountStrange = "count-strange",
        SameVisitOtherId = "same-visit-other-id",
        IdLikeAName = "id-like-a-name",
        FieldOfAnotherSender = "field-of-another-sender",
        FieldNumberedAlike = "field-numbered-alike",
        FieldIdLookAlike = "field-id-look-alike",
        DayMonthOrder = "day-month-order",
        AreaLikeAcres = "area-like-acres",
        SupersedesRevision = "supersedes-revision",
    }
}

/// Texts of codes in stores of earlier versions, each with the code that took its place.
const EARLIER: [(&str, Code); 1] = [("bracts-not-six", Code::CountsPerHeadWrong)];

impl Code {
    /// The code of a text that a store holds, known or not.
    fn stored(text: &str) -> Code {
        static OTHERS: Mutex<Vec<&'static str>> = Mutex::new(Vec::new());
        let earlier = EARLIER.iter().find(|(earlier, _)| *earlier == text);
        if let Some(code) = earlier.map(|(_, code)| *code).or(text.parse().ok()) {
            return code;
        }
        let mut others = OTHERS.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = others.iter().find(|other| **other == text) {
            return Code::Other(known);
        }
        let kept: &'static str = String::leak(text.to_owned());
        others.push(kept);
        Code::Other(kept)
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.as_str())
    }
}

impl Serialize for Code {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.as_str())
    }
}

impl<'de> Deserialize<'de> for Code {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Code, D::Error> {
        String::deserialize(deserializer).map(|text| Code::stored(&text))
    }
}

/// Codes are ordered and looked up by their text, as reports list them.
impl Borrow<str> for Code {
    fn borrow(&self) -> &str {
        self.as_str()
    }
}

impl Ord for Code {
    fn cmp(&self, other: &Code) -> Ordering {
        self.as_str().cmp(other.as_str())
    }
}

impl PartialOrd for Code {
    fn partial_cmp(&self, other: &Code) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Hash for Code {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.as_str().hash(state);
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn every_code_has_a_text_of_its_own_and_is_read_back_from_it() {
        let texts: BTreeSet<&str> = Code::ALL.iter().map(|code| code.as_str()).collect();
        assert_eq!(texts.len(), Code::ALL.len());
        for code in Code::ALL {
            assert_eq!(code.as_str().parse(), Ok(*code));
            let written = serde_json::to_string(code).unwrap();
            assert_eq!(written, format!("\"{code}\""));
            assert_eq!(serde_json::from_str::<Code>(&written).unwrap(), *code);
            let words = code.as_str().split('-').collect::<Vec<_>>();
            let lower = |word: &&str| word.bytes().all(|byte| byte.is_ascii_lowercase());
            assert!(words.len() > 1 && words.iter().all(lower), "{code}");
        }
    }

    #[test]
    fn a_code_of_an_earlier_version_is_read_as_the_one_that_took_its_place() {
        for (earlier, code) in EARLIER {
            let read: Code = serde_json::from_str(&format!("\"{earlier}\"")).unwrap();
            assert_eq!(read, code);
            assert_eq!(earlier.parse::<Code>(), Err(UnknownCode));
        }
    }

    #[test]
    fn a_code_of_another_version_is_carried_as_it_came() {
        let text = r#"{"code":"of-tomorrow","pointer":"","found":"x","expected":"y"}"#;
        let finding: crate::visit::finding::Finding = serde_json::from_str(text).unwrap();
        assert_eq!(finding.code, Code::Other("of-tomorrow"));
        assert_eq!(serde_json::to_string(&finding).unwrap(), text);
        assert_eq!("of-tomorrow".parse::<Code>(), Err(UnknownCode));
    }
}
