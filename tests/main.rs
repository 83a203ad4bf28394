//! The tests, by purpose, in one binary: the engine is linked once.

mod support;

mod published; // values from outside, typed by hand, with their sources
mod region; // points and counties, against an independent computation
mod schema; // the visit schema, against independent validators
mod stages; // each SQL stage on a few rows, and what the runner refuses
