//! The tests, by purpose, in one binary: the engine is linked once.

mod generated;
mod support;

mod cli; // the program as a person meets it: help, exit codes, messages
mod concurrency; // several loads and readers at the same time
mod defaults; // economics that a record lacks: assumed with a trace, or held
mod demo; // the demo: what it says is true, and it comes out the same twice
mod doubts; // what is strange about a visit that no rule refuses
mod durability; // what is on the disk when, and a kill at every step
mod engines; // the same figures on any number of cores and in any order of loading
mod finding_codes; // a wrong and a right example of every code
mod flat_memory; // memory does not grow with the submission
mod hostile; // records that are wrong on purpose, among good ones
mod house; // the rules of the house: what stands in a file, banned calls, headers of stages
mod identity; // new, duplicate, conflict; corrections in any order
mod imports; // who may import whom
mod intake; // submissions in every form
mod privacy; // no public file tells whose field it was
mod publish; // outputs opened by others, hostile text, classes and wording
mod published; // values from outside, typed by hand, with their sources
mod reference; // every cell against independent programs, on real county boundaries
mod region; // points and counties, against an independent computation
mod schema; // the visit schema, against independent validators
mod stages; // each SQL stage on a few rows, and what the runner refuses
mod tree; // the top level, what no file may name, what a newcomer looks for
