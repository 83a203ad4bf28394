//! The tests, by purpose, in one binary: the engine is linked once.

mod support;

mod concurrency; // several loads and readers at the same time
mod durability; // what is on the disk when, and a kill at every step
mod finding_codes; // a wrong and a right example of every code
mod flat_memory; // memory does not grow with the submission
mod hostile; // records that are wrong on purpose, among good ones
mod identity; // new, duplicate, conflict; corrections in any order
mod intake; // submissions in every form
mod region; // points and counties, against an independent computation
mod schema; // the visit schema, against independent validators
