//! The tests, by purpose, in one binary: the engine is linked once.

mod generated;
mod support;

mod cli; // the program as a person meets it: help, exit codes, messages
mod concurrency; // several programs on one workspace at once
mod demo; // the demo: what it says is true, and it comes out the same twice
mod durability; // what is on the disk when a load says that it is, and after a kill at any step
mod engines; // the same figures on any number of cores and in any order of loading
mod finding_codes; // every code of a finding: a record that has it and one that has not
mod flat_memory; // loading takes no more memory for a longer submission
mod hostile; // records and files that mean no good, or were broken on the way
mod house; // the rules of the house: what stands in a file, banned calls, headers of stages
mod identity; // duplicates, conflicts, corrections and withdrawals in any order of arrival
mod imports; // who may import whom
mod intake; // every form in which submissions come, and what becomes of each record
mod concurrency; // several loads and readers at the same time
mod demo; // the demo: what it says is true, and it comes out the same twice
mod durability; // what is on the disk when, and a kill at every step
mod engines; // the same figures on any number of cores and in any order of loading
mod finding_codes; // a wrong and a right example of every code
mod flat_memory; // memory does not grow with the submission
mod held_desk; // hold, export, mend, load again; drop; closing and its idempotence
mod hostile; // records that are wrong on purpose, among good ones
mod house; // the rules of the house: what stands in a file, banned calls, headers of stages
mod identity; // new, duplicate, conflict; corrections in any order
mod imports; // who may import whom
mod intake; // submissions in every form
mod privacy; // no public file tells whose field it was
mod mapping; // mapping files and the plain layout: rows of sheets become visits
mod publish; // outputs opened by others, hostile text, classes and wording
mod published; // values from outside, typed by hand, with their sources
mod reference; // every cell against independent programs, on real county boundaries
mod region; // points and counties, against an independent computation
mod schema; // the visit schema, against independent validators
mod stages; // each SQL stage on a few rows, and what the runner refuses
mod tree; // the top level, what no file may name, what a newcomer looks for
mod tables; // tables of other people's programs, and files made to exhaust their reader
mod sheet; // count sheets, filled and opened by other people's software
