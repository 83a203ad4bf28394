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

/// The four numbers of an account: received, accepted, duplicate, held.
pub fn counts(account: &Value) -> [u64; 4] {
    ["received", "accepted", "duplicate", "held"]
        .map(|name| account[name].as_u64().expect("a number"))
}
