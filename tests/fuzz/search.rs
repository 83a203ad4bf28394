//! The search: libFuzzer with the target that the environment names. Built and run by `run` beside it.

#![no_main]

mod targets;
mod tokens;

use std::sync::LazyLock;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
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

// Every other change of a text is one of its tokens, the rest are libFuzzer's own.
libfuzzer_sys::fuzz_mutator!(|data: &mut [u8], size: usize, max_size: usize, seed: u32| {
    if seed.is_multiple_of(2) && std::str::from_utf8(&data[..size]).is_ok() {
        let mut text = data[..size].to_vec();
        tokens::change(&mut text, &mut ChaCha8Rng::seed_from_u64(seed.into()));
        if text.len() <= max_size {
            data[..text.len()].copy_from_slice(&text);
            return text.len();
        }
    }
    libfuzzer_sys::fuzzer_mutate(data, size, max_size)
});
