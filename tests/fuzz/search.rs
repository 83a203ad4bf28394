//! The search: libFuzzer with the target that the environment names. Built and run by `run` beside it.

#![no_main]

mod targets;

use std::sync::LazyLock;

use targets::{INPUT_BYTES_MAX, TARGETS};

static LOOK: LazyLock<fn(&[u8])> = LazyLock::new(|| {
    if std::env::var_os("BRACTLINE_FUZZ_CAUGHT").is_none() {
        // libFuzzer ends at any panic, also at one over a damaged workbook that we catch and tell in words. Without its
        // hook it ends at those alone that nobody catches.
        std::panic::set_hook(Box::new(|panic| eprintln!("{panic}")));
    }
    let name = std::env::var("BRACTLINE_FUZZ").unwrap_or_default();
    let target = TARGETS.iter().find(|target| target.name == name);
    target.expect("BRACTLINE_FUZZ names a target").look
});

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if bytes.len() <= INPUT_BYTES_MAX {
        LOOK(bytes);
    }
});
