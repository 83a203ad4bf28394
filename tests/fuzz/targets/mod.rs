//! What is asked of every file that somebody else wrote: one function a kind of file.
//!
//! Each takes bytes and panics where more than "it does not fall over" is broken. `tests/fuzz/run` searches them for hours
//! with libFuzzer; `tests/fuzz_seeds.rs` runs what was kept, and a few seconds of mutations, with every other test.

mod boundary;
mod csv;
mod desk;
mod expression;
mod json;
mod mapping;
mod note;
mod packed;
mod protocol;
mod weather;
mod xlsx;

#[allow(unused_imports)]
pub use note::hold_html;

/// A kind of file and what is asked of it.
pub struct Target {
    /// Its name, which is that of its folder in `seeds/` and of its words in `words/`.
    pub name: &'static str,
    /// Looks at one input; panics if something is wrong.
    pub look: fn(&[u8]),
}

/// Every target.
pub const TARGETS: [Target; 10] = [
    Target {
        name: "json",
        look: json::look,
    },
    Target {
        name: "csv",
        look: csv::look,
    },
    Target {
        name: "xlsx",
        look: xlsx::look,
    },
    Target {
        name: "mapping",
        look: mapping::look,
    },
    Target {
        name: "protocol",
        look: protocol::look,
    },
    Target {
        name: "expression",
        look: expression::look,
    },
    Target {
        name: "boundary",
        look: boundary::look,
    },
    Target {
        name: "note",
        look: note::look,
    },
    Target {
        name: "packed",
        look: packed::look,
    },
    Target {
        name: "weather",
        look: weather::look,
    },
];

/// Inputs are no longer than this: a longer one finds nothing more, and takes longer.
pub const INPUT_BYTES_MAX: usize = 1 << 16;
