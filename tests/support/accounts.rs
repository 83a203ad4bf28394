//! The accounts that `load` gives, and that they add up.

use serde_json::Value;

/// received = accepted + duplicate + held, in sum and for each submission.
#[track_caller]
pub fn assert_adds_up(account: &Value) {
    let count = |of: &Value, name: &str| of[name].as_u64().expect("a number");
    let submissions = account["submissions"].as_array().expect("submissions");
    for of in std::iter::once(account).chain(submissions) {
        assert_eq!(
            count(of, "received"),
            count(of, "accepted") + count(of, "duplicate") + count(of, "held"),
            "{account:#}"
        );
    }
    for name in ["received", "accepted", "duplicate", "held"] {
        let sum: u64 = submissions.iter().map(|of| count(of, name)).sum();
        assert_eq!(count(account, name), sum, "{name} of {account:#}");
    }
}

/// What became of the records of an account.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Counts {
    pub received: u64,
    pub accepted: u64,
    pub duplicate: u64,
    pub held: u64,
}

/// So many records received, of which none is accounted for yet: `received(3).accepted(2).held(1)`.
pub const fn received(received: u64) -> Counts {
    Counts {
        received,
        accepted: 0,
        duplicate: 0,
        held: 0,
    }
}

impl Counts {
    pub const fn accepted(self, accepted: u64) -> Counts {
        Counts { accepted, ..self }
    }

    pub const fn duplicate(self, duplicate: u64) -> Counts {
        Counts { duplicate, ..self }
    }

    pub const fn held(self, held: u64) -> Counts {
        Counts { held, ..self }
    }
}

/// The four numbers of an account.
pub fn counts(account: &Value) -> Counts {
    let number = |name: &str| account[name].as_u64().expect("a number");
    Counts {
        received: number("received"),
        accepted: number("accepted"),
        duplicate: number("duplicate"),
        held: number("held"),
    }
}
