//! The invented visits of the sheets whose mappings are drafted, and how a sender writes them.

use serde_json::{Value, json};

const SUBMITTED: &str = "2026-08-10T12:00:00Z";
const ACRE: f64 = 0.404_685_642_24;

/// A visit as a person has it in mind: amounts in acres and pounds, or in hectares and kilograms.
pub(super) struct Seen {
    pub(super) number: usize,
    pub(super) day: &'static str,
    pub(super) lon: f64,
    pub(super) lat: f64,
    pub(super) area: f64,
    pub(super) crop: &'static str,
    pub(super) cost: f64,
    pub(super) price: f64,
    pub(super) plants: u32,
    /// Sites, heads, bracts.
    pub(super) counts: [[[u32; 6]; 2]; 2],
}

pub(super) const US: [Seen; 2] = [
    Seen {
        number: 1,
        day: "2026-07-20",
        lon: -100.125,
        lat: 45.25,
        area: 100.0,
        crop: "oilseed",
        cost: 8.25,
        price: 0.16,
        plants: 20_000,
        counts: [
            [[0, 0, 0, 0, 0, 0], [1, 2, 0, 0, 0, 0]],
            [[1, 0, 0, 0, 0, 2], [1, 0, 0, 1, 1, 2]],
        ],
    },
    Seen {
        number: 2,
        day: "2026-07-27",
        lon: -99.5,
        lat: 44.75,
        area: 62.5,
        crop: "confection",
        cost: 9.5,
        price: 0.28,
        plants: 18_500,
        counts: [
            [[0, 0, 2, 0, 0, 1], [2, 0, 2, 0, 0, 0]],
            [[0, 0, 0, 0, 0, 0], [2, 1, 2, 1, 1, 2]],
        ],
    },
];

/// The same counts in hectares and kilograms.
pub(super) fn metric() -> [Seen; 2] {
    US.map(|seen| Seen {
        area: seen.area / 2.0,
        cost: seen.cost * 2.0,
        price: seen.price * 2.0,
        plants: seen.plants * 2,
        ..seen
    })
}

/// How counts are kept.
#[derive(Clone, Copy)]
pub(super) enum Form {
    Bracts,
    /// One total a head.
    Totals,
    Traps,
}

impl Seen {
    pub(super) fn field(&self) -> String {
        format!("F-900{}", self.number)
    }

    pub(super) fn scout(&self) -> String {
        format!("obs-900{}", self.number)
    }

    pub(super) fn totals(&self) -> [[u32; 2]; 2] {
        self.counts.map(|site| site.map(|head| head.iter().sum()))
    }

    /// The eleven cells of a visit: numbers with their sign, the day as it is written, the crop as it is called.
    pub(super) fn cells(&self, write: &Writing) -> Vec<String> {
        let number = |number: f64| number.to_string().replace('.', write.decimal);
        vec![
            self.field(),
            (write.day)(self.day),
            self.scout(),
            number(self.lon),
            number(self.lat),
            number(self.area),
            (write.crop)(self.crop),
            write.stage.to_owned(),
            number(self.cost),
            number(self.price),
            self.plants.to_string(),
        ]
    }

    pub(super) fn truth(&self, prefix: &str, form: Form, is_metric: bool) -> Value {
        let (per_area, per_weight, hectares) = match is_metric {
            true => ("ha", "kg", 1.0),
            false => ("acre", "lb", ACRE),
        };
        let site = |number: usize, heads: &[[u32; 6]; 2]| match form {
            Form::Bracts => json!({"site": number, "heads": heads}),
            _ => json!({"site": number, "plants": self.totals()[number - 1]}),
        };
        let sites: Vec<Value> = match form {
            Form::Traps => vec![json!({"site": 1, "traps": self.traps()})],
            _ => self
                .counts
                .iter()
                .zip(1..)
                .map(|(heads, number)| site(number, heads))
                .collect(),
        };
        let mut truth = json!({
            "schema_version": "1.0",
            "visit_id": format!("{prefix}:{}:{}:{}", self.field(), self.day, self.scout()),
            "revision": 1, "observed_on": self.day, "submitted_at": SUBMITTED, "observer_id": self.scout(),
            "field": {"field_id": self.field(), "lon": self.lon, "lat": self.lat, "area_ha": self.area * hectares,
                "crop_type": self.crop},
            "protocol": "bsm-eggs", "crop_stage": "R3",
            "economics": {
                "treatment_cost": {"amount": self.cost, "per": per_area, "currency": "USD"},
                "market_value": {"amount": self.price, "per": per_weight, "currency": "USD"},
                "plant_population": {"count": f64::from(self.plants), "per": per_area}},
            "sites": sites,
        });
        if matches!(form, Form::Traps) {
            truth["protocol"] = "sunflower-moth-traps".into();
            truth["crop_stage"] = "R5.1".into();
        }
        truth
    }

    pub(super) fn traps(&self) -> Vec<Value> {
        let totals = self.totals();
        totals
            .iter()
            .map(|site| json!({"catch": site[1], "nights": 7}))
            .collect()
    }
}

/// How a sender writes.
pub(super) struct Writing {
    pub(super) decimal: &'static str,
    pub(super) day: fn(&str) -> String,
    pub(super) crop: fn(&str) -> String,
    pub(super) stage: &'static str,
}

pub(super) const PLAIN: Writing = Writing {
    decimal: ".",
    day: str::to_owned,
    crop: str::to_owned,
    stage: "R3",
};

pub(super) fn month_first(day: &str) -> String {
    format!(
        "{}/{}/{}",
        day[5..7].trim_start_matches('0'),
        &day[8..],
        &day[..4]
    )
}
